"""Finding declared columns under the headers of a received sheet."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheet_cells import SmallBook

from kitting.calculation.questions import NOTE, REFUSE
from kitting.calculation.sheets.all_sheets import SHEETS, template_headers
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.headers import column_letters, find_column
from kitting.calculation.sheets.raw import RawSheet, raw_book
from kitting.errors import Refusal


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("DOI low (in)", "in"),
        ("doi_low_mm", "mm"),
        ("DOI_low (mm)", "mm"),
        ("  Doi  LOW [inches] ", "in"),
        ("doi low mil", "mil"),
        ("DOI low", None),
        ("doi_low_nm", None),
    ],
)
def test_a_header_may_be_label_or_field_with_or_without_its_unit(header: str, unit: str | None) -> None:
    column, found = find_column(SHEETS["cable types"], header) or (None, None)
    assert column is SHEETS["cable types"].by_field["doi_low_nm"]
    assert found == unit


def test_brackets_that_are_no_unit_of_the_column_make_it_unknown() -> None:
    assert find_column(SHEETS["systems"], "nominal (kV)")
    assert find_column(SHEETS["schedule"], "conductor size (mm²)")
    assert find_column(SHEETS["cable types"], "DOI low (kg)") is None
    assert find_column(SHEETS["cable types"], "DOI (in)") is None
    assert find_column(SHEETS["stock"], "quantity (boxes)") is None


@pytest.mark.parametrize("name", SHEETS)
def test_every_template_header_finds_its_own_column(name: str) -> None:
    found = [find_column(SHEETS[name], header) for header in template_headers(name)]
    assert [column for column, _ in filter(None, found)] == list(SHEETS[name].columns)
    assert [unit or "" for _, unit in filter(None, found)] == [column.parser.unit for column in SHEETS[name].columns]


def test_every_length_prints_its_unit_in_the_header() -> None:
    for name, sheet in SHEETS.items():
        for column, header in zip(sheet.columns, template_headers(name), strict=True):
            assert column.field.endswith("_nm") == header.endswith((" (mm)", " (m)"))


def test_an_unknown_column_is_reported_and_not_used(small: SmallBook) -> None:
    small.put("schedule", 2, "dept", "x")
    question = small.only_question()
    assert (question.sheet, question.row, question.column, question.severity) == ("schedule", 1, "dept", NOTE)
    assert "not used" in question.problem
    assert small.put("positions", 2, "enviroment", "wet").read().questions[0].suggestion == "did you mean environment?"


def test_a_column_that_stands_twice_is_refused_the_second_time(small: SmallBook) -> None:
    small.put("cable types", 2, "doi_low_mm", "99")
    (question,) = small.asked()
    assert (question.row, question.column, question.severity) == (1, "doi_low_mm", REFUSE)
    assert small.read().frames["cable types"]["doi_low_nm"][0] == 18_542_000


def test_all_missing_sheets_and_columns_are_named_at_once(small: SmallBook) -> None:
    del small.sheets["jobs"], small.sheets["stock"]
    for row in small.sheets["positions"]:
        del row["kind"]
    small.sheets["levels"] = [{"stock code": "EL-1"}]
    with pytest.raises(Refusal) as caught:
        small.read()
    assert caught.value.code == "missing-sheets-or-columns"
    assert caught.value.data["sheets"] == ("jobs", "stock")
    assert caught.value.data["columns"] == ("kind (sheet positions)", "depot (sheet levels)")


def test_two_sheets_of_one_name_are_refused(small: SmallBook) -> None:
    sheets = dict(small.raw().sheets)
    sheets["cable_types"] = sheets["cable types"]
    with pytest.raises(Refusal, match="two sheets are called cable types"):
        read_book(type(small.raw())(sheets, "digest"))


@given(order=st.permutations(range(10)), shout=st.booleans())
def test_the_order_and_the_case_of_headers_do_not_matter(order: list[int], shout: bool) -> None:
    columns = SHEETS["cable types"].columns[:10]
    texts = ("CT-1", "1/0", "Al", "compact", "XLPE", "175 mil", "100", "15", "0.73 in", "0.79 in")
    headers = [columns[at].label.upper() if shout else columns[at].label for at in order]
    found = [find_column(SHEETS["cable types"], header) for header in headers]
    assert [column for column, _ in filter(None, found)] == [columns[at] for at in order]
    assert len(texts) == len(order)


def test_columns_are_named_as_a_spreadsheet_names_them() -> None:
    assert [column_letters(at) for at in (0, 25, 26, 51, 701, 702)] == ["A", "Z", "AA", "AZ", "ZZ", "AAA"]


def test_a_unit_in_the_header_converts_exactly(small: SmallBook) -> None:
    frame = small.read().frames["cable types"]
    assert list(frame["doi_low_nm"]) == [18_542_000, 24_663_400]
    assert list(frame["wall_nm"]) == [4_445_000, 5_588_000]
    assert small.read().frames["systems"]["nominal_kv"][0] == Decimal("12.47")


def test_the_digest_tells_content_and_not_its_arrangement(small: SmallBook) -> None:
    raw = small.raw()
    schedule = raw.sheets["schedule"]
    turned = RawSheet(
        "schedule",
        schedule.headers[::-1],
        schedule.cells.iloc[::-1, ::-1].set_axis(range(len(schedule.headers)), axis=1),
    )
    assert raw_book([*reversed([*raw.sheets.values()][:-1]), turned, raw.sheets["stock"]]).digest == raw.digest
    assert small.set("schedule", 2, remarks="later").raw().digest != raw.digest
