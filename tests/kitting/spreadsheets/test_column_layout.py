from pathlib import Path

import pytest

from kitting.calculation.questions import ASK, NOTE, REFUSE
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, raw_book, raw_sheet
from kitting.errors import Refusal
from kitting.spreadsheets.column_layout import adopt

LAYOUT = Path(__file__).parents[3] / "kitting/spreadsheets/layouts/network_runs.toml"

_COLUMNS = [
    "source_dataset", "run_id", "from_location", "to_location", "nominal_kv", "phases", "conductor_size",
    "conductor_size_unit", "conductor_material", "length_m", "insulation_material", "insulation_diameter_mm",
    "outer_diameter_mm", "from_kind", "to_kind", "rated_amps", "loaded_amps", "from_normally_open", "to_normally_open",
    "phase_letters", "parallel", "rated_kv", "cable_as_stated", "conductor_diameter_mm", "insulation_thickness_mm",
    "metallic_shield", "from_site", "to_site", "from_site_open", "to_site_open", "from_attached", "to_attached",
    "solved_amps",
]  # fmt: skip
_RUN = {
    "source_dataset": "Willow Bend (invented)", "nominal_kv": "12.47", "conductor_size": "1/0",
    "conductor_size_unit": "AWG", "conductor_material": "Al", "length_m": "84.07", "from_normally_open": "no",
    "to_normally_open": "no", "phase_letters": "ABC", "phases": "3", "parallel": "1", "rated_kv": "15",
    "cable_as_stated": "feeder cable", "insulation_thickness_mm": "4.45", "insulation_diameter_mm": "21.1",
    "metallic_shield": "concentric neutral", "from_kind": "transformer", "to_kind": "transformer",
}  # fmt: skip


def run(name: str, start: str, end: str, **facts: str) -> dict[str, str]:
    sites = {"from_site": start.partition("-")[0], "to_site": end.partition("-")[0]}
    return {**_RUN, "run_id": name, "from_location": start, "to_location": end, **sites, **facts}


def listed(folder: Path, *runs: dict[str, str], columns: list[str] = _COLUMNS) -> Path:
    path = folder / "runs.csv"
    lines = [",".join(columns), *(",".join(one.get(column, "") for column in columns) for one in runs)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def rows(raw: RawBook, sheet: str) -> list[dict[str, str]]:
    """Rows of a sheet by header, blank cells left out."""
    found = raw.sheets[sheet]
    return [
        {header: text for header, text in zip(found.headers, cells, strict=True) if text}
        for cells in found.cells.itertuples(index=False, name=None)
    ]


def base() -> RawBook:
    return raw_book([
        raw_sheet("depots", ("depot", "time zone"), [("N", "America/Chicago")]),
        raw_sheet("items", ("stock code", "description", "kind"), []),
        raw_sheet("stock", ("stock code", "depot", "place", "quantity"), []),
        raw_sheet("systems", ("system", "nominal kV", "earthing"), [("12.47 kV", "12.47", "multigrounded wye")]),
        raw_sheet("jobs", ("job", "depot"), [("Willow Bend (invented)", "N")]),
        raw_sheet("cable types", ("cable type", "conductor size", "metal", "insulation", "DOI low (in)"), []),
    ])  # fmt: skip


def test_each_run_becomes_a_row_under_its_own_number_with_an_end_at_each_side(tmp_path: Path) -> None:
    raw = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2"), run("r2", "T2", "T3", phase_letters="B")))
    schedule = raw.sheets["schedule"]
    assert list(schedule.cells.index) == [2, 3]
    assert rows(raw, "schedule")[1] == {
        "job": "Willow Bend (invented)", "run": "r2", "system": "12.47 kV", "phases": "B", "cables per phase": "1",
        "length (m)": "84.07", "cable type": "feeder cable", "from structure": "T2", "from position": "T2 r2",
        "to structure": "T3", "to position": "T3 r2",
    }  # fmt: skip
    positions = [(row["structure"], row["position"], row["kind"]) for row in rows(raw, "positions")]
    assert positions == [
        ("T1", "T1 r1", "well 200 A"), ("T2", "T2 r1", "well 200 A"),
        ("T2", "T2 r2", "well 200 A"), ("T3", "T3 r2", "well 200 A"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("word", "amps", "kind"),
    [
        ("transformer", "", "well 200 A"),
        ("switch", "200", "integral 200 A"),
        ("switch", "200.1", "bushing 600 A"),
        ("switch", "", "switch"),
        ("switch", "about 200", "switch"),
        ("overhead_line", "600", "riser pole"),
        ("bus", "200", "bus"),
    ],
)
def test_the_kind_of_position_follows_the_kind_of_end_and_what_is_not_known_keeps_its_word(
    word: str, amps: str, kind: str, tmp_path: Path
) -> None:
    raw = adopt(LAYOUT, listed(tmp_path, run("r1", "A-1", "B-1", to_kind=word, rated_amps=amps)), base())
    assert rows(raw, "positions")[1]["kind"] == kind
    asked = [q for q in read_book(raw).questions if (q.sheet, q.column, q.severity) == ("positions", "kind", REFUSE)]
    assert [question.read for question in asked] == ([word] if kind == word else [])


def test_cables_that_meet_where_the_list_says_no_more_share_a_position_to_be_asked_once(tmp_path: Path) -> None:
    runs = [run(f"r{n}", "N7", f"T{n}", from_kind="bus") for n in range(3)]
    positions = rows(adopt(LAYOUT, listed(tmp_path, *runs)), "positions")
    assert [row["position"] for row in positions if row["kind"] == "bus"] == ["N7"]


def test_an_end_that_is_normally_open_is_an_open_point(tmp_path: Path) -> None:
    raw = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2", to_normally_open="yes")))
    assert [row["state"] for row in rows(raw, "positions")] == ["in use", "open point"]


def test_each_build_of_cable_is_one_type_and_blank_facts_stay_blank(tmp_path: Path) -> None:
    runs = [
        run("r1", "T1", "T2"),
        run("r2", "T2", "T3", insulation_thickness_mm="5.59"),
        run("r3", "T3", "T4"),
        run("r4", "T4", "T5", cable_as_stated="", conductor_material=""),
    ]
    raw = adopt(LAYOUT, listed(tmp_path, *runs))
    types = rows(raw, "cable types")
    assert [row["cable type"] for row in types] == ["feeder cable build 1", "feeder cable build 2", "1/0 AWG"]
    assert [row["wall (mm)"] for row in types] == ["4.45", "5.59", "4.45"]
    assert not any("metal" in row for row in types[2:])
    used = [row["cable type"] for row in rows(raw, "schedule")]
    assert used == ["feeder cable build 1", "feeder cable build 2", "feeder cable build 1", "1/0 AWG"]


def test_a_diameter_stated_once_is_no_band(tmp_path: Path) -> None:
    kind = rows(adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2"))), "cable types")[0]
    assert kind["DOI low (mm)"] == "21.1"
    assert "DOI high (mm)" not in kind


def test_low_voltage_is_refused_whatever_the_cable_is_called(tmp_path: Path) -> None:
    low = {"nominal_kv": "0.48", "cable_as_stated": "15 kV feeder cable"}
    with pytest.raises(Refusal) as refused:
        adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2", **low)))
    assert refused.value.code == "not-adopted"
    assert "0.48" in refused.value.message
    assert "not medium voltage" in refused.value.message

    mixed = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2", **low), run("r2", "T2", "T3")), base())
    (told,) = [one for one in read_book(mixed).questions if (one.sheet, one.column) == ("schedule", "system")]
    assert (told.row, told.read, told.severity) == (2, "0.48 kV", REFUSE)
    assert "not medium voltage" in told.problem
    schedule = read_book(mixed).frames["schedule"]
    assert list(schedule["usable"]) == [False, True]  # the row stays, and gets no parts


def test_a_base_book_gives_the_rest_and_its_own_rows_stand(tmp_path: Path) -> None:
    raw = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2")), base())
    assert rows(raw, "systems") == [{"system": "12.47 kV", "nominal kV": "12.47", "earthing": "multigrounded wye"}]
    assert rows(raw, "jobs") == [{"job": "Willow Bend (invented)", "depot": "N"}]
    assert rows(raw, "cable types")[0]["DOI low (in)"] == "21.1 mm"  # the unit goes with the number
    read = read_book(raw)
    assert list(read.frames["cable types"]["doi_low_nm"]) == [21_100_000]
    assert list(read.frames["schedule"]["usable"]) == [True]


def test_rows_of_the_base_come_first_and_a_run_in_both_is_kept_to_be_asked_about(tmp_path: Path) -> None:
    first = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2"), run("r2", "T2", "T3")), base())
    both = adopt(LAYOUT, listed(tmp_path, run("r2", "T2", "T3"), run("r3", "T3", "T4")), first)
    numbers = both.sheets["schedule"].cells.index
    runs = [row["run"] for row in rows(both, "schedule")]
    assert list(zip(numbers, runs, strict=True)) == [(2, "r1"), (3, "r2"), (4, "r2"), (5, "r3")]
    assert len(rows(both, "positions")) == len(rows(first, "positions")) + 2
    asked = [question.row for question in read_book(both).questions if question.sheet == "schedule"]
    assert asked == [4]


def test_a_column_that_the_layout_does_not_use_is_told_and_one_that_is_not_there_refused(tmp_path: Path) -> None:
    more = adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2", colour="red"), columns=[*_COLUMNS, "colour"]))
    assert [(note.column, note.severity) for note in more.notes] == [("colour", NOTE)]
    with pytest.raises(Refusal) as refused:
        adopt(LAYOUT, listed(tmp_path, run("r1", "T1", "T2"), columns=_COLUMNS[2:]))
    assert refused.value.data["columns"] == ("run_id", "source_dataset")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[jobs]", "[jobs", "not TOML"),
        ("[jobs]", "[job]", "unknown part 'job'"),
        ("unused = [", "unusable = [", "unknown part 'unusable'"),
        ("earthing =", "earth =", "sheet systems has no column 'earth'"),
        ('state = "from_normally_open"', "", "[ends.from] must give 'state'"),
        ('at_most = "200"', 'at_most = "many"', "not in the right form"),
        ('"{nominal_kv} kV"', '"{nominal_kv kV"', "not in the right form"),
    ],
)
def test_a_layout_that_can_not_be_used_is_refused_with_the_reason(
    old: str, new: str, told: str, tmp_path: Path
) -> None:
    layout = tmp_path / "layout.toml"
    layout.write_text(LAYOUT.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(Refusal) as refused:
        adopt(layout, listed(tmp_path, run("r1", "T1", "T2")))
    assert refused.value.code == "column-layout"
    assert told in refused.value.message


def test_a_place_that_looks_like_a_known_one_is_asked_about_and_never_taken_for_it(tmp_path: Path) -> None:
    first = adopt(LAYOUT, listed(tmp_path, run("r1", "V9", "T2"), run("r2", "T2", "Pad 7")), base())
    again = [run("r3", "V-9", "T4"), run("r4", "Vault 9", "T5"), run("r5", "P7", "Pole 2")]
    named = [{**one, "from_site": one["from_location"]} for one in again]
    positions = adopt(LAYOUT, listed(tmp_path, *named), first).sheets["positions"]

    asked = [(one.read, one.problem) for one in positions.notes if one.severity == ASK]
    assert asked == [
        ("V-9", "the structure V-9 is new, and V9 is known: one place or two?"),
        ("Vault 9", "the structure Vault 9 is new, and V9 is known: one place or two?"),
        ("P7", "the structure P7 is new, and Pad 7 is known: one place or two?"),
    ]
    assert {"V9", "V-9", "Vault 9"} < set(positions.cells[0])  # each stands as it was written
