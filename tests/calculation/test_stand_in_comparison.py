"""A stand-in beside the part that is wanted: same, better, worse, or failing a check that nobody can waive."""

import pytest
from small_books import small

from kitting.calculation.fit_matching.comparing import FactBeside
from kitting.calculation.sheets.book import Book
from kitting.calculation.stand_in_comparison import compare_stand_in
from kitting.errors import Refusal

# Stock code to shield; kinds as in the small books.
HEAD = (
    "stock code,description,kind,class kV,interface,current A,switching,phase to phase,DOI low (in),DOI high (in),"
    "conductor sizes,metal,MCOV kV,contains,stock unit,state"
)
ROWS = (
    "E,part,elbow,15,200 A 15 kV,200,loadbreak,yes,0.600,0.800,,,,,,",
    "E-WIDE,part,elbow,15; 25,200 A 15 kV,200,loadbreak,yes,0.500,0.900,,,,,,",
    "E-NARROW,part,elbow,15,200 A 15 kV,200,loadbreak,yes,0.600,0.700,,,,,,",
    "E-APART,part,elbow,15,200 A 15 kV,200,loadbreak,yes,0.900,1.100,,,,,,",
    "E-DEAD,part,elbow,15,200 A 15 kV,200,deadbreak,yes,0.600,0.800,,,,,,",
    "E-25,part,elbow,25,200 A 25 kV,200,loadbreak,yes,0.600,0.800,,,,,,",
    "E-EARTH,part,elbow,15,200 A 15 kV,200,loadbreak,no,0.600,0.800,,,,,,",
    "E-UNSAID,part,elbow,15,200 A 15 kV,200,loadbreak,,0.600,0.800,,,,,,",
    "E-OLD,part,elbow,15,200 A 15 kV,200,loadbreak,yes,0.600,0.800,,,,,,withdrawn",
    "E-SET,part,elbow,15,200 A 15 kV,200,loadbreak,yes,0.600,0.800,,,,C-10,,",
    "S,part,splice,15,,,,,0.700,1.100,,,,,,",
    "S-25,part,splice,25,,,,,0.700,1.100,,,,,,",
    "S-12,part,splice,12/20(24),,,,,0.700,1.100,,,,,,",
    "C-10,part,splice connector,,,,,,,,1/0; 2/0,Al,,,,",
    "C-CU,part,splice connector,,,,,,,,1/0; 2/0,Cu,,,,",
    "C-20,part,splice connector,,,,,,,,2/0..4/0,Al; Cu,,,,",
    "A-8,part,elbow arrester,15,200 A 15 kV,,,,,,,,8.4,,,",
    "A-10,part,elbow arrester,15,200 A 15 kV,,,,,,,,10.2,,,",
    "A-15,part,elbow arrester,15,200 A 15 kV,,,,,,,,15.3,,,",
    "W,part,consumable,,,,,,,,,,,,,",
    "W-FT,part,consumable,,,,,,,,,,,,ft,",
)
POSITIONS = "P1,a,integral 200 A,200 A 15 kV,ABC,,in use\nP2,a,integral 200 A,200 A 15 kV,ABC,,in use"


@pytest.fixture(scope="module")
def book() -> Book:
    return small(items="\n".join([HEAD, *ROWS]), positions=POSITIONS, schedule="J1,1,S12,ABC,CT-A,P1,a,P2,a").book


def facts(book: Book, wanted: str, stand_in: str, **where: str) -> dict[str, FactBeside]:
    return {one.check: one for one in compare_stand_in(book, wanted=wanted, stand_in=stand_in, **where).facts}


@pytest.mark.parametrize(
    ("wanted", "stand_in", "check", "verdict"),
    [
        ("E", "E-WIDE", "insulation diameter", "better"),
        ("E-WIDE", "E", "insulation diameter", "worse"),
        ("E", "E-WIDE", "voltage class", "better"),
        ("E", "E-APART", "insulation diameter", "fails"),
        ("E", "E-DEAD", "current and switching", "fails"),
        ("E-DEAD", "E", "current and switching", "better"),
        ("E", "E-25", "interface", "fails"),
        ("E", "E-25", "voltage class", "fails"),
        ("E", "E-EARTH", "phase-to-phase duty", "fails"),
        ("E", "E-UNSAID", "phase-to-phase duty", "can't tell"),
        ("E-EARTH", "E", "phase-to-phase duty", "better"),
        ("E", "E-OLD", "active and complete", "fails"),
        ("E", "E-SET", "what comes with it", "better"),
        ("E-SET", "E", "what comes with it", "worse"),
        ("E", "S", "kind", "fails"),
        ("S", "S-25", "voltage class", "better"),
        ("S-25", "S", "voltage class", "fails"),
        ("S", "S-12", "voltage class", "fails"),
        ("C-10", "C-CU", "conductor size and metal", "fails"),
        ("C-10", "C-20", "conductor size and metal", "worse"),
        ("A-8", "A-10", "MCOV", "worse"),
        ("A-10", "A-8", "MCOV", "fails"),
        ("W", "W-FT", "unit of count", "fails"),
    ],
)
def test_each_fact_is_the_same_better_worse_or_forbids(
    book: Book, wanted: str, stand_in: str, check: str, verdict: str
) -> None:
    """A higher class only where no interface is involved; one way is not the other."""
    found = facts(book, wanted, stand_in)[check]
    assert found.verdict == verdict
    assert found.forbids == (verdict in ("fails", "can't tell"))


def test_what_a_system_needs_decides_about_arresters_and_not_what_the_wanted_one_has(book: Book) -> None:
    """S12 is a multigrounded wye of 12.47 kV (need 7.56 kV), S13D an ungrounded delta of 13.2 kV (13.86 kV)."""
    assert facts(book, "A-10", "A-8", system="S12")["MCOV"].verdict == "better"
    assert facts(book, "A-15", "A-8", system="S13D")["MCOV"].sentence == "MCOV 8.4 kV is below the 13.86 kV needed"


def test_at_a_line_its_own_cable_decides(book: Book) -> None:
    """CT-A is 0.730 to 0.790 in: within E, partly within E-NARROW, beyond E-APART; what no cable asks is only worse."""
    line = "J1/P1-a/r1-from/ABC/elbow"
    fit = {code: facts(book, "E", code, line=line)["insulation diameter"] for code in ("E-WIDE", "E-NARROW", "E-APART")}
    assert {code: one.verdict for code, one in fit.items()} == {
        "E-WIDE": "better",
        "E-NARROW": "fails",
        "E-APART": "fails",
    }
    assert "entrance too small by 0.76 mm (0.030 in)" in fit["E-NARROW"].sentence


def test_what_is_not_there_or_does_not_serve_is_refused(book: Book) -> None:
    for where, code in (
        ({"wanted": "E", "stand_in": "E"}, "same-code"),
        ({"wanted": "E", "stand_in": "Z"}, "unknown-stock-code"),
        ({"wanted": "A-8", "stand_in": "A-10", "system": "S99"}, "unknown-system"),
        ({"wanted": "E", "stand_in": "E-WIDE", "line": "J1/nowhere"}, "no-such-line"),
        ({"wanted": "E-25", "stand_in": "E", "line": "J1/P1-a/r1-from/ABC/elbow"}, "not-its-code"),
    ):
        with pytest.raises(Refusal) as refused:
            compare_stand_in(book, **where)
        assert refused.value.code == code
