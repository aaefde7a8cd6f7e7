"""Which cable is it: reel before type before row, contradictions asked, nothing assumed."""

import pytest
from small_books import BASE, Small, small

AT = "P,a,well 200 A,200 A 15 kV,ABC,yes,\nQ,a,integral 200 A,200 A 15 kV,ABC,,"
HEADER = (
    "job,run,system,phases,cable type,reel,conductor size,metal,insulation,wall (mil),cable class kV,"
    "DOI low (in),DOI high (in),jacketed,from structure,from position,to structure,to position"
)


def _run(**cells: str) -> str:
    given = {"job": "J1", "run": "1", "system": "S12", "phases": "ABC", "from structure": "P", "from position": "a",
             "to structure": "Q", "to position": "a"}  # fmt: skip
    given |= {name.replace("_", " "): value for name, value in cells.items()}
    columns = [column.partition(" (")[0] for column in HEADER.split(",")]
    return ",".join(f'"{given.get(column, "")}"' for column in columns)


def _planned(*, types: str | None = None, **cells: str) -> Small:
    sheets = {"positions": AT, "schedule": f"{HEADER}\n{_run(**cells)}"}
    return small(**sheets) if types is None else small(**sheets, cable_types=types)


def _elbow(made: Small) -> tuple[str, str, str]:
    line = made.lines(structure="P", kind="elbow").iloc[0]
    return line["answer"], line["stock_code"], line["doi_origin"]


def _asked(made: Small) -> list[tuple[str, int, str]]:
    return [(q.sheet, q.row, q.column) for q in made.made.questions if q.severity in {"ask", "refuse"}]


def test_the_reel_decides_where_the_row_only_hints() -> None:
    """1/0 of class 15 may be either wall; the reel is the one with the larger diameter."""
    made = _planned(reel="R-2", conductor_size="1/0", cable_class_kV="15")
    assert (_elbow(made)[1], _elbow(made)[2]) == ("EL-2", "cable type")


def test_a_measured_reel_beats_its_type() -> None:
    """R-1 is measured 0.745 to 0.775 in."""
    line = _planned(reel="R-1").lines(structure="P", kind="elbow").iloc[0]
    assert (line["doi_low_mm"], line["doi_high_mm"], line["doi_origin"]) == ("18.923", "19.685", "gauge")


def test_one_gauge_reading_fills_both_ends() -> None:
    """A gauge reading given once is low and high; the type band is not mixed in."""
    reels = "reel,cable type,origin,DOI low (in),DOI high (in)\nR-9,CT-A,gauge,0.760,"
    made = small(positions=AT, schedule=f"{HEADER}\n{_run(reel='R-9')}", reels=reels)
    line = made.lines(structure="P", kind="elbow").iloc[0]
    assert (line["doi_low_mm"], line["doi_high_mm"]) == ("19.304", "19.304")


def test_a_reel_of_another_type_than_the_row_says_is_asked() -> None:
    """Reel R-2 is CT-B and the row says CT-A: nothing is chosen from either."""
    made = _planned(reel="R-2", cable_type="CT-A")
    assert set(made.lines(structure="P")["answer"]) == {"can't tell"}
    assert _asked(made) == [("schedule", 2, "cable type")]


def test_a_fact_that_contradicts_the_type_is_asked_and_only_its_lines_wait() -> None:
    """The row says copper, CT-A is aluminium: the connector can't be told, the elbow can."""
    made = _planned(cable_type="CT-A", metal="Cu")
    answers = dict(zip(made.lines(structure="P")["kind"], made.lines(structure="P")["answer"], strict=True))
    assert answers["elbow connector"] == "can't tell"
    assert answers["elbow"] == "short"
    assert ("schedule", 2, "metal") in _asked(made)


def test_the_one_type_that_agrees_with_the_row_is_the_cable() -> None:
    """1/0 with 220 mil is CT-B only."""
    assert _planned(conductor_size="1/0", wall="220").lines(structure="P", kind="elbow").iloc[0]["stock_code"] == "EL-2"


def test_several_types_that_agree_are_listed_with_what_each_would_choose() -> None:
    """A blank wall leaves CT-A and CT-B."""
    made = _planned(conductor_size="1/0", cable_class_kV="15")
    reason = made.lines(structure="P", kind="elbow").iloc[0]["reason"]
    assert "175 mil (CT-A) would choose EL-1" in reason
    assert "220 mil (CT-B) would choose EL-2" in reason
    assert made.lines(structure="P", kind="elbow connector").iloc[0]["stock_code"] == "CC-10"
    assert _asked(made) == [("schedule", 2, "wall")]


def test_no_type_that_agrees_names_the_nearest() -> None:
    """4/0 copper with 220 mil is no type here; CT-C differs in its metal only."""
    made = _planned(conductor_size="4/0", metal="Cu", wall="220")
    assert "nearest is CT-C, which differs in metal" in made.lines(structure="P").iloc[0]["reason"]
    assert _asked(made) == [("schedule", 2, "metal")]


def test_a_doubtful_cell_counts_as_missing_even_where_the_type_has_the_fact() -> None:
    """A comma in the diameter is asked; the type's band is not used instead, the other facts are."""
    made = _planned(cable_type="CT-A", DOI_low="0,76")
    assert _elbow(made)[0] == "can't tell"
    assert made.lines(structure="P", kind="elbow connector").iloc[0]["stock_code"] == "CC-10"


def test_a_reel_for_each_phase_gives_each_phase_its_own_band() -> None:
    """A and C from R-1, B from R-2: lines of their own."""
    made = _planned(reel="R-1; R-2; R-1")
    lines = made.lines(structure="P", kind="elbow")
    assert dict(zip(lines["phases"], lines["stock_code"], strict=True)) == {"AC": "EL-1", "B": "EL-2"}
    assert dict(zip(lines["phases"], lines["quantity"], strict=True)) == {"AC": 2, "B": 1}


NO_TYPES = "cable type,conductor size,metal,insulation"


def test_without_cable_types_the_row_and_the_standard_speak() -> None:
    """1/0, 220 mil: 0.780 to 0.903 in by the limits of the standard, and the line says so."""
    made = _planned(
        types=NO_TYPES, conductor_size="1/0", metal="Al", insulation="XLPE", wall="220", cable_class_kV="15",
        jacketed="no",
    )  # fmt: skip
    line = made.lines(structure="P", kind="elbow").iloc[0]
    assert (line["doi_low_mm"], line["doi_high_mm"], line["doi_origin"]) == ("19.812", "22.9362", "calculated")
    assert line["stock_code"] == "EL-2"
    assert "estimated from standard limits" in line["reason"]


def test_an_owner_may_ask_for_a_gauge_reading_instead_of_the_estimate() -> None:
    """Policy estimates: measure."""
    row = _run(conductor_size="1/0", metal="Al", insulation="XLPE", wall="220", cable_class_kV="15", jacketed="no")
    made = small(
        positions=AT,
        schedule=f"{HEADER}\n{row}",
        cable_types=NO_TYPES,
        policies="policy,value\nestimates,measure",
    )
    assert _elbow(made)[0] == "can't tell"


@pytest.mark.parametrize("blank", ["insulation", "jacketed"])
def test_a_blank_that_a_rule_reads_is_asked(blank: str) -> None:
    """Neither insulation nor jacket has a default."""
    facts = {"conductor_size": "1/0", "metal": "Al", "insulation": "XLPE", "wall": "220", "jacketed": "yes"}
    made = _planned(types=NO_TYPES, **{**facts, blank: ""})
    assert ("schedule", 2, blank) in _asked(made)
    assert "can't tell" in set(made.lines(structure="P")["answer"])


def test_the_base_book_has_the_types_these_tests_name() -> None:
    """Guards the sums above against a changed base."""
    assert BASE["cable types"].count("CT-") == 3
