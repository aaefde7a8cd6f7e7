"""A picture is what its content says, is made small, and loses what a camera wrote beside it."""

import os
import zlib
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from refusals import refusal

from kitting.errors import Refusal
from kitting.models.pictures import JPEG, PDF, PNG
from kitting.services.picture_files import LARGEST_FILE, LONGEST_SIDE, SMALL_SIDE, read_picture

GPS, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F  # tags of Exif
A_PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n"


def written(image: Image.Image, form: str, **options: object) -> bytes:
    file = BytesIO()
    image.save(file, form, **options)
    return file.getvalue()


def photograph(across: int, down: int) -> Image.Image:
    """Something without a line in it, so that it shrinks badly."""
    return Image.frombytes("RGB", (60, 40), os.urandom(60 * 40 * 3)).resize((across, down), Image.Resampling.BICUBIC)


def of_a_phone() -> bytes:
    """A photograph taken with the phone upright, as phones write it: lying, with a tag that says how to turn it."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = 6, "camera of somebody"
    exif.get_ifd(GPS)[1] = "N"
    lying = photograph(2400, 1200)
    lying.paste("black", (0, 0, 300, 300))  # upper right when it is upright
    return written(lying, "JPEG", exif=exif, comment=b"said by somebody")


SMALL = (
    written(photograph(16, 12), "JPEG"), written(photograph(16, 12).convert("L"), "JPEG", progressive=True),
    written(photograph(16, 12), "PNG"), written(photograph(16, 12).convert("P"), "PNG", transparency=0), A_PDF,
)  # fmt: skip


def test_a_photograph_is_kept_upright_and_small_without_what_the_camera_wrote_in_it() -> None:
    sent = of_a_phone()
    kept = read_picture("IMG_1.JPG", sent)
    with Image.open(BytesIO(sent)) as before, Image.open(BytesIO(kept.content)) as after:
        assert before.getexif().get_ifd(GPS)
        assert dict(after.getexif()) == {}
        assert after.info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert b"somebody" not in kept.content + kept.small
        assert after.size == (1000, LONGEST_SIDE)
        assert after.convert("L").crop((900, 20, 980, 100)).getextrema()[1] < 40
    with Image.open(BytesIO(kept.small)) as small:
        assert small.size == (160, SMALL_SIDE)
    assert kept.media_type == JPEG


def test_lines_stay_sharp_and_what_shines_through_lies_on_white() -> None:
    sketch = Image.new("RGBA", (500, 400), (0, 0, 0, 0))
    ImageDraw.Draw(sketch).line((0, 0, 499, 399), fill=(0, 0, 0, 255), width=3)
    lines, noise = (read_picture("sketch", written(one, "PNG")) for one in (sketch, photograph(500, 400)))
    assert (lines.media_type, noise.media_type) == (PNG, JPEG)
    with Image.open(BytesIO(lines.content)) as kept:
        assert (kept.getpixel((499, 0)), kept.getpixel((250, 200))) == ((255, 255, 255), (0, 0, 0))


def test_a_scan_in_sixteen_bits_keeps_its_greys() -> None:
    kept = read_picture("scan", written(Image.new("I;16", (40, 40), 128 * 256), "PNG"))
    with Image.open(BytesIO(kept.content)) as after:
        assert after.convert("L").getextrema() == (128, 128)


@pytest.mark.filterwarnings("ignore::UserWarning")  # the library says what is odd about a camera's notes
@given(st.data())
def test_whatever_bytes_are_sent_they_are_a_picture_or_are_refused(data: st.DataObject) -> None:
    sent = bytearray(data.draw(st.sampled_from(SMALL)))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(sent) - 1))
        sent[at : at + data.draw(st.integers(0, 2))] = data.draw(st.binary(max_size=3))
    try:
        assert read_picture("x", bytes(sent), drawings=True).content
    except Refusal as told:
        assert told.code in {"picture-unreadable", "too-many-pixels", "no-picture"}  # noqa: PT017 - either will do


def test_the_content_decides_and_not_the_name() -> None:
    good = of_a_phone()
    gif = written(Image.new("P", (9, 9)), "GIF")
    said = {
        "plan.jpg": (b"PK\x03\x04 a workbook", "by its content plan.jpg is not a JPEG or PNG picture"),
        "moving.png": (gif, "by its content moving.png is not"),
        "cut.jpg": (good[: len(good) // 2], "cut off or damaged"),
        "IMG_2.HEIC": (b"\0\0\0\x18ftypheic" + bytes(40), "Set the camera to JPEG"),
        "drawing.pdf": (A_PDF, "not a JPEG or PNG picture"),
    }
    for name, (sent, why) in said.items():
        assert why in refusal("picture-unreadable", read_picture, name, sent), name
    assert read_picture("whatever.jpg", A_PDF, drawings=True).media_type == PDF
    assert "or a PDF" in refusal("picture-unreadable", read_picture, "x", gif, drawings=True)


def test_what_is_too_large_is_refused_with_the_limit_before_it_is_drawn() -> None:
    assert "25 MB are the most" in refusal("picture-too-large", read_picture, "a.jpg", bytes(LARGEST_FILE + 1))
    for blank in (written(Image.new("1", (8_000, 8_000)), "PNG"), bomb(10_000), bomb(20_000)):  # the library's limits
        assert "50 million are the most" in refusal("too-many-pixels", read_picture, "b.png", blank)
    refusal("no-picture", read_picture, "c.png", b"")


def bomb(side: int) -> bytes:
    """A PNG of a few bytes whose head says that it has a great many points."""
    small = written(Image.new("1", (1, 1)), "PNG")
    head = b"IHDR" + side.to_bytes(4) * 2 + small[24:29]
    return small[:12] + head + zlib.crc32(head).to_bytes(4) + small[33:]
