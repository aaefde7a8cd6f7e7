"""Why pieces are short and what would cure it, on small made-up depots: every owned piece is accounted for."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.calculation.holdings import Holdings
from kitting.calculation.job_dates import JobDates, closed_days, depot_days, read_job_dates
from kitting.calculation.needs import NearMiss
from kitting.calculation.promise_tables import Share, Shares
from kitting.calculation.promising.model import Kit
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.calculation.shortages import Buying, ShortLine, shortage_table
from kitting.calculation.supply import Supply, read_supply

AS_OF = date(2026, 3, 2)
DEPOTS = ("H", "M", "N")
STOCK = ("stock code", "depot", "place", "place kind", "lot", "use by", "quantity", "job")
ORDERS = ("order", "line", "stock code", "quantity", "depot", "promised")
ITEMS = ("stock code", "description", "kind", "lead days", "shelf months")
JOBS = (
    ("J1", "N", "2026-03-10 08:00"),
    ("J2", "N", "2026-03-12 08:00"),
    ("J3", "M", "2026-04-18 08:00"),
    ("J4", "N", "2026-05-07 08:00"),
    ("J5", "N", "2026-05-08 08:00"),
)


def book_of(
    stock: Sequence[Sequence[str]], orders: Sequence[Sequence[str]] = (), *, lead: str = "14", life: str = ""
) -> Book:
    sheets = [
        raw_sheet("depots", ("depot", "closed days"), [(depot, "2026-04-03") for depot in DEPOTS]),
        raw_sheet("transfers", ("from", "to", "days"), [("H", "N", "1"), ("M", "N", "9"), ("N", "M", "1")]),
        raw_sheet("systems", ("system", "nominal kV", "earthing"), [("S12", "12.47", "multigrounded wye")]),
        raw_sheet("positions", ("structure", "position", "kind"), [("A1", "a", "riser pole")]),
        raw_sheet("jobs", ("job", "depot", "cutover"), JOBS),
        raw_sheet(
            "schedule",
            ("job", "run", "system", "phases", "from structure", "from position", "to structure", "to position"),
            [],
        ),
        raw_sheet("items", ITEMS, [(code, "a part", "consumable", lead, life) for code in ("A", "B")]),
        raw_sheet("stock", STOCK, stock),
        raw_sheet("orders", ORDERS, orders),
    ]
    return read_book(raw_book(sheets))


class Yard:
    """The depots with what is promised so far; the jobs stand in the order of service."""

    def __init__(self, book: Book, promised: Sequence[tuple[str, str, str, int]] = ()) -> None:
        """``promised`` holds (job, place or order, depot, pieces)."""
        self.book = book
        self.jobs = read_job_dates(book)
        self.supply = read_supply(
            book, as_of=AS_OF, items={"A": 0, "B": 1}, depots=DEPOTS, kits={job: n for n, job in enumerate(self.jobs)}
        )
        self.lines = list(self.jobs)
        shares = [
            Share(self.lines.index(job), self._lot(place, depot), n * 1000, "shelf", 0)
            for job, place, depot, n in promised
        ]
        self.holdings = holdings_of(book, self.supply, tuple(shares), self.jobs)

    def _lot(self, place: str, depot: str) -> int:
        found = [
            number
            for number, source in enumerate(self.supply.sources)
            if source.depot == depot and place in (source.place, source.order)
        ]
        assert len(found) == 1
        return found[0]

    def row(self, line: ShortLine, lead: int | None = 14, refused: str = "") -> pd.Series:
        """The shortage row of one line."""
        buying = Buying(
            dict.fromkeys("AB", lead), depot_days(self.book, "receiving_days", 0), closed_days(self.book), AS_OF
        )
        table = shortage_table(
            [line],
            jobs=self.jobs,
            kits={job: place for place, job in enumerate(self.jobs)},
            depots=DEPOTS,
            holdings=self.holdings,
            buying=buying,
            refused={line.job: refused} if refused else {},
        )
        return table.iloc[0]


def holdings_of(book: Book, supply: Supply, shares: tuple[Share, ...], jobs: dict[str, JobDates]) -> Holdings:
    kits = [
        Kit(job.job, DEPOTS.index(job.depot), job.staged_by.toordinal(), job.good_through.toordinal(), frozenset())
        for job in jobs.values()
        if job.staged_by is not None and job.good_through is not None
    ]
    return Holdings(book, supply, Shares(shares, np.zeros(len(jobs), dtype=np.int64)), jobs=list(jobs), kits=kits)


def short(job: str, pieces: int, **more: tuple[str, ...]) -> ShortLine:
    return ShortLine(job, f"{job}/x", "consumable", "A", pieces * 1000, pieces * 1000, (), **more)


def bin_at(depot: str, pieces: int, place: str = "B-1") -> tuple[str, ...]:
    return ("A", depot, place, "bin", "", "", str(pieces), "")


def test_a_shortage_says_who_has_the_pieces_and_the_numbers_add_up() -> None:
    yard = Yard(
        book_of(
            [
                bin_at("N", 6),
                ("A", "N", "RES", "reserve", "", "", "3", ""),
                ("A", "N", "truck 14", "truck", "", "", "2", ""),
                ("A", "H", "HOLD", "hold", "L-9", "", "4", ""),
                ("A", "H", "SUP", "supplier-owned", "", "", "5", ""),
                ("A", "M", "B-7", "bin", "", "", "7", ""),
                ("A", "N", "B-2", "bin", "L-1", "2026-03-11", "1", ""),
            ]
        ),
        [("J1", "B-1", "N", 6)],
    )
    row = yard.row(short("J2", 3))
    assert row["why"] == (
        "28 owned: 6 promised to J1 at N, 3 in reserve at N, 2 on a truck at N, 4 on hold (lot L-9) at H, "
        "5 bound to its depot at H, 7 too far to come in time at M, 1 expires 2026-03-11, before the cutover at N"
    )
    assert row["other_depots"] == "H: 4 on hold (lot L-9); H: 5 bound to its depot; M: 7 too far to come in time"
    assert (row["need"], row["have"], row["short"], row["staged_by"]) == (3, 0, 3, "2026-03-10")
    assert isinstance(row["short"], Decimal)


def test_the_cures_are_buying_in_time_releasing_reserve_and_a_later_cutover() -> None:
    stock = [("A", "N", "RES", "reserve", "", "", "3", ""), ("A", "M", "B-7", "bin", "", "", "7", "")]
    row = Yard(book_of(stock)).row(short("J2", 3), lead=5)
    assert (row["order_by"], row["too_late"]) == ("2026-03-05", "no")
    assert row["cure"] == (
        "buy 3 by 2026-03-05; or release up to 3 from reserve at N (duty supervisor; adds a refill line); "
        "or move the cutover: 7 at M can be at N on 2026-03-13"
    )


def test_a_reserve_is_offered_only_if_it_comes_in_time_and_lasts() -> None:
    """Trap T42: the only source is the reserve at another depot."""
    reserve = ("A", "N", "RES", "reserve", "", "2026-04-20", "1", "")
    offered = Yard(book_of([reserve])).row(short("J3", 1), lead=98)
    assert (offered["order_by"], offered["too_late"]) == ("2026-01-08", "yes")
    assert offered["cure"] == (
        "release up to 1 from reserve at N, here by 2026-03-03 (duty supervisor; adds a refill line); "
        "or move the cutover or approve a stand-in: too late to buy, order-by was 2026-01-08"
    )
    spoilt = Yard(book_of([("A", "N", "RES", "reserve", "", "2026-04-10", "1", "")])).row(short("J3", 1))
    assert "release" not in spoilt["cure"]
    assert spoilt["why"] == "1 owned: 1 in reserve, expires 2026-04-10, before the cutover at N"
    too_far = Yard(book_of([("A", "M", "RES", "reserve", "", "", "1", "")])).row(short("J2", 1))
    assert "release" not in too_far["cure"]
    held = Yard(book_of([("A", "N", "HOLD", "hold", "", "", "1", "")])).row(short("J2", 1))
    assert "release" not in held["cure"]


def test_open_orders_are_told_with_their_day_and_who_has_them() -> None:
    orders = [
        ("PO-1", "1", "A", "6", "N", "2026-03-05"),
        ("PO-2", "1", "A", "6", "M", "2026-04-09"),
        ("PO-3", "1", "A", "5", "N", ""),
        ("PO-4", "1", "A", "4", "N", "2026-02-20"),
    ]
    yard = Yard(book_of([], orders), [("J1", "PO-1", "N", 4)])
    row = yard.row(short("J2", 3))
    assert row["on_order"] == (
        "PO-1: 6 at N on 2026-03-05 (4 promised to J1); PO-2: 6 at M on 2026-04-09; "
        "PO-3: 5 at N, no date; PO-4: 4 at N, was due 2026-02-20"
    )
    assert row["why"] == "none owned"
    assert dict(yard.holdings.ordered_for_nobody()) == {("A", "N"): 11_000, ("A", "M"): 6_000}
    late = Yard(book_of([], orders[1:2])).row(short("J3", 6), lead=98)
    assert "an open order can be at M on 2026-04-09" in late["cure"]


def test_the_first_three_holders_in_service_are_named_and_the_others_counted() -> None:
    taken = [
        ("J5", "B-1", "N", 5),
        ("J4", "B-1", "N", 4),
        ("J3", "B-1", "N", 3),
        ("J2", "B-1", "N", 2),
        ("J1", "B-1", "N", 1),
    ]
    assert Yard(book_of([bin_at("N", 15)]), taken).row(short("J2", 1))["why"] == (
        "15 owned: 1 promised to J1 at N, 2 promised to J2 at N, 3 promised to J3 at N, 9 promised to 2 other jobs at N"
    )


def test_only_our_own_free_and_good_pieces_count_towards_a_refill() -> None:
    stock = [
        bin_at("N", 6),
        ("A", "N", "B-2", "bin", "L-1", "2026-03-01", "1", ""),
        ("A", "N", "SUP", "supplier-owned", "", "", "5", ""),
        ("A", "N", "RES", "reserve", "", "", "2", ""),
    ]
    yard = Yard(book_of(stock), [("J1", "B-1", "N", 4)])
    assert dict(yard.holdings.bins_left()) == {("A", "N"): 2_000}


def test_an_unknown_lead_can_t_tell_the_order_by() -> None:
    row = Yard(book_of([])).row(short("J2", 3), lead=None)
    assert (row["order_by"], row["too_late"]) == ("can't tell", "")
    assert "lead days" in row["cure"]


def test_a_line_that_no_stock_code_serves_shows_the_nearest_misses_as_not_approved() -> None:
    miss = NearMiss(
        "EL15-1", "insulation diameter", "EL15-1 entrance too small by 1.14 mm (0.045 in)", ("insulation diameter",)
    )
    row = Yard(book_of([])).row(ShortLine("J2", "J2/x", "elbow", "", 3000, 3000, (miss,)))
    assert "(not approved)" in row["why"]
    assert "too small by 1.14 mm (0.045 in)" in row["why"]
    assert (row["stock_code"], row["order_by"]) == ("", "")
    assert row["cure"] == "ask standards for an item that serves"


def test_other_codes_and_gauge_readings_are_told_as_cures() -> None:
    stock = [("B", "N", "RES", "reserve", "", "", "1", "")]
    row = Yard(book_of(stock)).row(short("J2", 1, others=("B",), readings=("C: a gauge reading of 20 mm would do",)))
    assert "B serves too: 1 owned: 1 in reserve at N" in row["why"]
    assert "release up to 1 B from reserve at N" in row["cure"]
    assert "measure the cable: C: a gauge reading of 20 mm would do" in row["cure"]


def test_a_refused_kit_says_so_first() -> None:
    assert (
        Yard(book_of([])).row(short("J2", 1), refused="refused: J1 holds 6")["why"].startswith("refused: J1 holds 6; ")
    )


def test_dated_pieces_without_a_use_by_date_are_owned_and_not_free() -> None:
    row = Yard(book_of([bin_at("N", 6)], life="36")).row(short("J2", 1))
    assert row["why"] == "6 owned: 6 not free (staged for no job, or no use-by date) at N"


PLACES = st.sampled_from(["bin", "staging", "bag", "truck", "van", "hold", "reserve", "supplier-owned"])
ROWS = st.lists(
    st.tuples(
        st.sampled_from(DEPOTS),
        PLACES,
        st.sampled_from(["", "2026-03-09", "2027-01-31"]),
        st.integers(0, 9),
        st.sampled_from(["", "J1", "J3"]),
    ),
    max_size=8,
)


@settings(max_examples=40)
@given(rows=ROWS, life=st.sampled_from(["", "36"]), taken=st.integers(0, 9), job=st.integers(0, 2))
def test_every_owned_piece_stands_in_the_account_once(
    rows: list[tuple[str, str, str, int, str]], life: str, taken: int, job: int
) -> None:
    stock = [
        ("A", depot, f"P-{place}", kind, "", use_by, str(pieces), kept if kind in {"staging", "bag"} else "")
        for place, (depot, kind, use_by, pieces, kept) in enumerate(rows)
    ]
    book = book_of(stock, life=life)
    jobs = read_job_dates(book)
    supply = read_supply(
        book, as_of=AS_OF, items={"A": 0}, depots=DEPOTS, kits={name: n for n, name in enumerate(jobs)}
    )
    shares = tuple(
        Share(number % 3, number, min(taken * 1000, lot.quantity), "shelf", 0)
        for number, lot in enumerate(supply.lots)
        if min(taken, lot.quantity)
    )
    held = holdings_of(book, supply, shares, jobs).of("A", job)
    assert sum(one.quantity for one in held) == sum(row[3] for row in rows) * 1000
    assert all(one.quantity > 0 for one in held)
