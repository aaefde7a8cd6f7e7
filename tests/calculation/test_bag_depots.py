"""A kit whose bags are staged at two depots: each line is asked for where its bag is, the kit stays one."""

from small_books import Small, small

from kitting.calculation.job_dates import read_job_dates

DEPOTS = (
    "depot,name,time zone,closed days,staging days\nN,North,America/Chicago,,2\nH,Harbor,America/Chicago,2026-03-18,2"
)
WAYS = "from,to,days\nN,H,1\nH,N,1"
POSITIONS = "\n".join(f"P{number},a,integral 200 A,200 A 15 kV,ABC,,in use" for number in range(1, 5))
RUN = "J1,1,S12,ABC,CT-A,P1,a,P2,a"
STOCK = "stock code,depot,place,place kind,quantity,use by,lot,job,structure"
ITEMS = ("CC-10", "PB", "JS-1", "GK", "TAG")


def shelves(*rows: str, elbows_at: str = "NH") -> str:
    """Plenty of all but elbows at both depots, and six elbows at each of these; or these rows besides."""
    plenty = [f"{code},{depot},B-{depot},bin,99" for code in ITEMS for depot in "NH"]
    return "\n".join([STOCK, *plenty, *(f"EL-1,{depot},A-{depot},bin,6" for depot in elbows_at), *rows])


def made(bag_depots: str = "J1,P2,H", *, stock: str = "", **sheets: str) -> Small:
    named = f"job,structure,depot\n{bag_depots}".strip()
    given = {"depots": DEPOTS, "transfers": WAYS, "positions": POSITIONS, "schedule": RUN, **sheets}
    return small(bag_depots=named, stock=stock or shelves(), **given)


def answer(book: Small, job: str = "J1") -> tuple[str, str]:
    found = next(one for one in book.made.jobs if one.job == job)
    return found.answer, found.waits_for


def test_each_line_is_promised_from_the_shelf_of_the_depot_where_its_bag_is_staged() -> None:
    book = made()
    lines = book.made.requirements
    assert set(lines["depot"][lines["structure"] == "P1"]) == {"N"}
    assert set(lines["depot"][lines["structure"] == "P2"]) == {"H"}
    promises = book.made.promises.merge(lines[["line", "depot"]], on="line", suffixes=("", "_of_bag"))
    assert set(promises["source"]) == {"shelf"}
    assert (promises["depot"].astype(str) == promises["depot_of_bag"].astype(str)).all()
    assert answer(book) == ("ready", "")
    assert "depot" not in small(positions=POSITIONS, schedule=RUN).made.requirements


def test_a_depot_that_waits_for_a_van_makes_the_kit_ready_if_and_is_named() -> None:
    book = made(stock=shelves(elbows_at="N"))
    assert answer(book) == ("ready if", "ready if H stages P2 (3 come there by 2026-03-03)")
    (line,) = book.lines(kind="elbow", structure="P2")["reason"]
    assert line.endswith("3 come from N to H by 2026-03-03")
    assert {one["job"]: one.get("waits_for") for one in book.made.summary["jobs"]} == {  # type: ignore[attr-defined]
        "J1": "ready if H stages P2 (3 come there by 2026-03-03)",
        "J2": None,
    }


def test_pieces_that_no_van_brings_are_short_at_their_depot_and_bought_for_it() -> None:
    book = made(stock=shelves(elbows_at="N"), transfers="from,to,days\nH,N,1")
    assert answer(book) == ("short", "waits until H stages P2 (3 short there)")
    (row,) = book.made.shortages.to_dict("records")
    assert (row["depot"], row["short"], row["staged_by"]) == ("H", 3, "2026-03-17")
    assert "3 promised to J1 at N" in row["why"]
    (order,) = book.made.reorder.to_dict("records")
    assert (order["depot"], order["order_quantity"], order["needed_by"]) == ("H", 3, "2026-03-17")
    assert book.made.cures.to_dict("records")[0]["to"] == "H"


def test_a_kit_is_served_whole_or_not_at_all_wherever_its_bags_are() -> None:
    """The first kit lacks what can't be bought in time at one depot, so it takes nothing that the second needs."""
    rows = f"{RUN}\nJ2,1,S12,ABC,CT-A,P3,a,P4,a"
    slow = "EL-1,N,A-N,bin,6"
    late = made(
        "J1,P2,H", schedule=rows, stock=shelves(slow, elbows_at=""), transfers="from,to,days\nH,N,1",
        jobs="job,title,depot,cutover\nJ1,First,N,2026-03-06 08:00\nJ2,Second,N,2026-03-09 08:00",
    )  # fmt: skip
    assert answer(late)[0] == "short"
    assert [row["job"] for row in late.made.refusals.to_dict("records")] == ["J1"]
    assert answer(late, "J2")[0] == "ready"
    assert answer(made("", schedule=RUN, stock=shelves(slow, elbows_at="")))[0] == "ready"


def test_the_first_of_the_days_of_its_depots_puts_a_job_in_its_turn() -> None:
    jobs = "job,title,depot,cutover\nJ1,First,N,2026-03-20 08:00\nJ2,Second,N,2026-03-20 08:00"
    rows = f"{RUN}\nJ2,1,S12,ABC,CT-A,P3,a,P4,a"
    before = list(read_job_dates(made("", jobs=jobs, schedule=rows).book))
    book = made("J2,P3,H", jobs=jobs, schedule=rows)
    dates = read_job_dates(book.book)
    assert (before, list(dates)) == (["J1", "J2"], ["J2", "J1"])
    told = dates["J2"]
    assert {depot: day.isoformat() for depot, day in told.days.items()} == {"H": "2026-03-17", "N": "2026-03-18"}
    assert told.staged_by == told.days["H"]
    assert told.at("N").staged_by == told.days["N"]
    all_away = read_job_dates(made("J1,P1,H\nJ1,P2,H").book)["J1"]
    assert list(all_away.days) == ["H"]


def test_a_spare_is_staged_where_the_bag_is_that_it_travels_in() -> None:
    spares = "rule,when kind,give kind,give quantity,give per\nS1,jacket seal,jacket seal,1,outage"
    book = made("J1,P1,H", rules_spares=spares)
    lines = book.made.requirements
    assert lines["depot"][lines["spare"] == "yes"].tolist() == ["H"]


def test_pieces_in_a_bag_serve_only_where_the_bag_is_staged() -> None:
    kept = "EL-1,N,bag-2,bag,3,,L-1,J1,P2"
    here = made("", stock=shelves(kept, elbows_at="N"))
    assert "bag-2" in here.made.promises["place"].tolist()
    away = made("J1,P2,H", stock=shelves(kept, elbows_at="NH"))
    lines = dict(zip(away.made.promises["line"], away.made.promises["place"], strict=True))
    assert lines["J1/P2-a/r1-to/ABC/elbow"] == "A-H"


def test_the_sheet_asks_about_unknown_codes_foreign_locations_and_two_depots_of_one_bag() -> None:
    book = made("J9,P1,H\nJ1,P9,H\nJ1,P1,X\nJ1,P2,H\nJ1,P2,N\nJ1,P3,H")
    told = {(one.row, one.column): one.problem for one in book.made.questions if one.sheet == "bag depots"}
    assert told == {
        (2, "job"): "no job of this code is declared",
        (3, "structure"): "no structure of this code is declared",
        (4, "depot"): "no depot of this code is declared",
        (6, "row"): "J1/P2 stands in row 5 already and says otherwise (depot)",
        (7, "structure"): "no line of J1 is for this location, so no bag of it goes to H",
    }
    assert "depot" not in book.made.requirements  # none of these rows counts
