"""Books made from the demo's clean sheets by random changes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from pathlib import Path

from desk import AS_OF, Desk
from hypothesis import strategies as st
from plain_sheets import labels

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet
from kitting.spreadsheets.reading import read_raw_book

CLEAN = Path(__file__).parents[2] / "fixtures_demo" / "clean"
STAND_INS = {"CS25-2": "CS35-2", "EL15-2": "EL15-3", "BI25": "FT25", "JS-2": "JS-3", "CC-10A": "CC-10C"}


@cache
def clean_book() -> RawBook:
    """The demo's clean sheets, with a column for the job of staged pieces and one for the rank of items."""
    raw = read_raw_book(CLEAN)
    return raw_book([*_widened(raw, {"stock": "job", "items": "rank"}), *_by_hand()])


@cache
def clean_plan() -> Plan:
    """Their plan."""
    return Desk(clean_book()).plan()


def _widened(raw: RawBook, columns: Mapping[str, str]) -> Iterable[RawSheet]:
    for name, sheet in raw.sheets.items():
        if name in columns:
            rows = [(*row, "") for row in sheet.cells.itertuples(index=False, name=None)]
            yield raw_sheet(name, (*sheet.headers, columns[name]), rows)
        else:
            yield sheet


def _by_hand() -> Iterable[RawSheet]:
    yield raw_sheet("levels", ("stock code", "depot", "min", "max", "reserve floor"), [])
    yield raw_sheet("stand ins", ("wanted", "allowed", "from", "to", "max quantity", "approved by"), [])
    yield raw_sheet("pins", ("job", "line", "stock code", "lot", "depot", "quantity", "reason", "by"), [])


@dataclass(frozen=True)
class Change:
    """Cells of one row of a sheet, by label; ``drop`` takes the row away, a row of -1 is a new one."""

    sheet: str
    row: int
    cells: tuple[tuple[str, str], ...] = ()
    drop: bool = False


def changed(raw: RawBook, changes: Iterable[Change], share: int = 1) -> RawBook:
    """The book after the changes, and with only one piece in ``share`` left of each row of stock."""
    frames = {name: sheet.cells.copy() for name, sheet in raw.sheets.items()}
    quantity = labels(raw.sheets["stock"]).index("quantity")
    frames["stock"][quantity] = [str(int(pieces) // share) for pieces in frames["stock"][quantity]]
    dropped: set[tuple[str, int]] = set()
    for change in changes:
        cells, sheet = frames[change.sheet], raw.sheets[change.sheet]
        row = change.row if change.row >= 0 else max(cells.index, default=1) + 1
        if change.row < 0:
            cells.loc[row] = [""] * len(sheet.headers)
        for label, value in change.cells:
            cells.loc[row, labels(sheet).index(label)] = value
        if change.drop:
            dropped.add((change.sheet, row))
    for sheet, row in dropped:
        frames[sheet] = frames[sheet].drop(index=row)
    return raw_book(replace(sheet, cells=frames[name]) for name, sheet in raw.sheets.items())


def days(first: int, last: int) -> st.SearchStrategy[str]:
    """ISO dates between two numbers of days after the day of planning."""
    return st.integers(first, last).map(lambda day: (AS_OF + timedelta(days=day)).isoformat())


def counts(first: int, last: int) -> st.SearchStrategy[str]:
    """Whole numbers as text."""
    return st.integers(first, last).map(str)


DEPOTS = st.sampled_from(["N", "H", "M"])


def _cells(sheet: str, **columns: st.SearchStrategy[str]) -> st.SearchStrategy[Change]:
    """One of the named cells (underscores for spaces) in any row of a sheet."""
    rows = st.sampled_from(_rows_of_interest(sheet))
    cells = [st.tuples(st.just(label.replace("_", " ")), values) for label, values in columns.items()]
    return st.builds(Change, st.just(sheet), rows, st.tuples(st.one_of(cells)))


def _rows_of_interest(sheet: str) -> list[int]:
    """All rows of a sheet; of the items sheet those that some line chooses."""
    codes = {code for _, _, code in _wanted()}
    cells = clean_book().sheets[sheet].cells
    return [int(row) for row, first in cells[0].items() if sheet != "items" or first in codes]


def _new(sheet: str, **columns: st.SearchStrategy[str]) -> st.SearchStrategy[Change]:
    """A new row of a sheet."""
    cells = st.fixed_dictionaries({label.replace("_", " "): values for label, values in columns.items()})
    return cells.map(lambda values: Change(sheet, -1, tuple(values.items())))


def _drops(*sheets: str) -> st.SearchStrategy[Change]:
    rows = [(sheet, int(row)) for sheet in sheets for row in clean_book().sheets[sheet].cells.index]
    return st.sampled_from(rows).map(lambda place: Change(*place, drop=True))


def _staged() -> st.SearchStrategy[Change]:
    """Pieces staged, in a van, or the supplier's, of a stock code that some line chooses."""
    wanted = _wanted()
    chosen = st.tuples(st.sampled_from(wanted), st.integers(0, 99), DEPOTS, counts(1, 9), days(3, 99))
    kinds = st.sampled_from(["staging", "staging", "bag", "bag", "van", "supplier-owned", "reserve", "truck", "hold"])
    return st.tuples(chosen, kinds).map(_row_of_pieces)


def _row_of_pieces(drawn: tuple[tuple[tuple[str, str, str], int, str, str, str], str]) -> Change:
    ((_, job, code), place, depot, quantity, use_by), kind = drawn
    cells = {"stock code": code, "depot": depot, "place": f"X-{place}", "place kind": kind, "lot": f"L-{place}"}
    cells |= {"use by": use_by, "quantity": quantity, "job": job if kind in {"staging", "bag"} else ""}
    return Change("stock", -1, tuple(cells.items()))


@cache
def _wanted() -> list[tuple[str, str, str]]:
    """(line, job, stock code) of the lines of the clean plan that have one."""
    lines = clean_plan().requirements
    lines = lines[((lines["stock_code"] != "") & (lines["spare"] == "no")).to_numpy()]
    return list(lines[["line", "job", "stock_code"]].astype(str).itertuples(index=False, name=None))


def _pins() -> st.SearchStrategy[Change]:
    others = st.sampled_from(["", "", "EL15-K2", "EL15-2", "CS25-2", "EA15-15.3"])
    drawn = st.tuples(st.sampled_from(_wanted()), others, counts(1, 4), st.sampled_from(["", "", "N", "H", "M"]))
    return drawn.map(_pin)


def _pin(drawn: tuple[tuple[str, str, str], str, str, str]) -> Change:
    (line, job, code), other, quantity, depot = drawn
    cells = {"job": job, "line": line, "stock code": other or code, "depot": depot, "quantity": quantity}
    return Change("pins", -1, tuple({**cells, "reason": "agreed", "by": "planner"}.items()))


def _stand_ins() -> st.SearchStrategy[Change]:
    pairs = st.sampled_from(sorted(STAND_INS.items()))
    drawn = st.tuples(pairs, st.one_of(st.just(""), counts(0, 4)), st.one_of(st.just(""), days(20, 50)))
    return drawn.map(
        lambda one: Change(
            "stand ins",
            -1,
            (*zip(("wanted", "allowed"), one[0], strict=True), ("max quantity", one[1]), ("to", one[2]),
             ("approved by", "standards")),
        )
    )  # fmt: skip


@cache
def one_change() -> st.SearchStrategy[Change]:
    """Any change that still leaves sheets without a doubt in stock, orders, items and jobs."""
    codes = st.sampled_from(sorted({code for _, _, code in _wanted()}))
    stock = _cells(
        "stock",
        quantity=counts(0, 12),
        place_kind=st.sampled_from(["bin", "reserve", "truck", "hold", "van", "supplier-owned"]),
        use_by=st.one_of(st.just(""), days(1, 80)),
        depot=DEPOTS,
    )
    return st.one_of(
        stock,
        stock,
        stock,
        _staged(),
        _drops("stock", "schedule", "positions", "orders", "transfers", "items"),
        _new(
            "orders",
            order=counts(10, 99).map("PO-{}".format),
            line=counts(1, 2),
            stock_code=codes,
            quantity=counts(1, 9),
            depot=DEPOTS,
            promised=st.one_of(st.just(""), days(-5, 60)),
        ),
        _cells("orders", promised=days(-2, 60), quantity=counts(1, 12), depot=DEPOTS),
        _cells(
            "jobs",
            cutover=st.one_of(st.just(""), days(0, 60).map("{} 08:00".format)),
            depot=DEPOTS,
            priority=counts(1, 3),
            staging_days=counts(0, 6),
        ),
        _cells("depots", closed_days=days(1, 40), staging_days=counts(0, 5), receiving_days=counts(0, 4)),
        _cells("transfers", days=counts(0, 6)),
        _cells(
            "items",
            lead_days=st.one_of(st.just(""), counts(0, 60)),
            per_purchase_unit=counts(1, 6),
            minimum_order=counts(0, 9),
            order_multiple=counts(1, 6),
        ),
        _cells(
            "items",
            rank=counts(1, 3),
            phase_to_phase=st.sampled_from(["yes", "no", ""]),
            current_A=st.sampled_from(["100", "200", "600"]),
            switching=st.sampled_from(["loadbreak", "deadbreak"]),
            state=st.just("withdrawn"),
        ),
        _cells(
            "schedule",
            cable_type=st.sampled_from([f"CT-{number:02}" for number in range(1, 16)]),
            system=st.sampled_from(["S12", "S13D", "S25", "S35"]),
            phases=st.sampled_from(["A", "AB", "ABC"]),
            cables_per_phase=counts(1, 2),
            reel=st.sampled_from(["", "R-1187", "R-1188", "R-2201"]),
        ),
        _cells(
            "positions",
            insert_fitted=st.sampled_from(["yes", "no", ""]),
            state=st.sampled_from(["in use", "open point", "end of line", "unused", "dead"]),
            environment=st.sampled_from(["dry", "wet"]),
            existing_cable_type=st.sampled_from(["", "CT-01", "CT-04", "CT-11"]),
        ),
        _cells("systems", earthing=st.sampled_from(["multigrounded wye", "solid", "impedance", "compensated"])),
        _new("levels", stock_code=codes, depot=DEPOTS, min=counts(0, 9), max=counts(9, 20), reserve_floor=counts(0, 5)),
        _pins(),
        _stand_ins(),
    )


@cache
def books() -> st.SearchStrategy[RawBook]:
    """Books with ten to sixty changes; in some of them the stock is thin."""
    changes = st.lists(one_change(), min_size=10, max_size=60)
    policies = st.sampled_from([(), (("expiry margin days", "3"),), (("estimates", "measure"),), (("spares", "no"),)])
    return st.builds(
        lambda made, share, policy: changed(clean_book(), [*made, *(_policy(*each) for each in policy)], share),
        changes,
        st.sampled_from([1, 1, 2, 4]),
        policies,
    )


def _policy(name: str, value: str) -> Change:
    cells = clean_book().sheets["policies"].cells
    return Change("policies", int(cells.index[cells[0] == name][0]), (("value", value),))
