from pathlib import Path

import pytest
import reportlab
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from kitting.documents.diameters import margin_text, span_text
from kitting.documents.lettering import CAP_HEIGHT, Style, fitted, printable, style_for_caps, width, wrapped
from kitting.documents.wording import Words


@pytest.mark.parametrize("face", ["Vera.ttf", "VeraBd.ttf"])
def test_the_height_of_capitals_is_the_height_of_h_in_the_faces_that_are_used(face: str) -> None:
    font = ImageFont.truetype(str(Path(reportlab.__file__).parent / "fonts" / face), 2048)
    _, top, _, bottom = font.getbbox("H")
    assert abs((bottom - top) / 2048 - CAP_HEIGHT) < 0.001
    assert style_for_caps(7.0).cap_mm == pytest.approx(7.0)


@given(st.text(max_size=60), st.floats(30, 300))
def test_wrapped_text_keeps_every_letter_and_no_line_is_too_wide(text: str, room: float) -> None:
    style = Style(size=9)
    lines = wrapped(text, style, room)
    assert "".join("".join(lines).split()) == "".join(printable(text).split())
    assert all(width(line, style) <= room + 0.01 for line in lines)


def test_text_shrinks_to_fit_and_wraps_only_at_its_floor() -> None:
    style, lines = fitted("VAULT 9", Style(size=40), 100, 10)
    assert 10 < style.size < 40
    assert lines == ["VAULT 9"]
    style, lines = fitted("VAULT 9 AT THE NORTH QUAY", Style(size=40), 100, 20)
    assert style.size == 20
    assert len(lines) > 1


def test_letters_that_the_face_lacks_become_plain_or_a_question_mark() -> None:
    assert printable("Łódź – 95 mm² ≥ ½") == "Łódz – 95 mm² ≥ ½"
    assert printable("Улица\t日本\n\x00") == "????? ?? ?"


def test_a_range_is_shown_in_both_units_the_written_one_first() -> None:
    assert span_text((20_828_000, 22_352_000)) == "0.820–0.880 in (20.83–22.35 mm)"
    assert span_text((22_000_000, 27_500_000)) == "22.00–27.50 mm (0.866–1.083 in)"
    assert margin_text((35_814_000, 41_656_000), (36_474_400, 38_227_000)) == "0.026 in (0.66 mm)"


def test_each_wording_uses_its_own_words_and_keeps_capitals() -> None:
    assert Words("splice")("Splice lot, elbow, ground") == "Splice lot, elbow, ground"
    assert Words("joint")("Splice LOT, 2 elbows, test and ground; elbow connector") == (
        "Joint BATCH, 2 separable elbow connectors, test and earth; conductor connector"
    )
    assert Words("joint")("slot, allotted, underground") == "slot, allotted, underground"
