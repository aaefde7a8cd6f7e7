"""A code is read from a photograph as a scanner would have sent it."""

import os
import subprocess
import sys
import zlib
from datetime import date
from io import BytesIO

import pytest
from photographs import PHONE, photograph, symbol
from PIL import Image
from refusals import refusal
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.carton_codes import Carton, read_carton
from kitting.documents.label_pictures import label_pictures
from kitting.documents.square_codes import draw_code
from kitting.services.photographed_codes import codes_in
from kitting.services.picture_files import LARGEST_FILE

BAG = "BAG 100234-7 J03 V2 REV B"
CARTON = "(241)EL15-1(10)L-77/A(17)280831(30)12"


def label(content: str) -> Image.Image:
    """Our own code as it is printed on a label of 4 by 6 inches, at 203 dots an inch."""
    file = BytesIO()
    canvas = Canvas(file, pagesize=(102 * mm, 152 * mm))
    draw_code(canvas, 60 * mm, 10 * mm, content, 30)
    canvas.drawString(10 * mm, 120 * mm, "V2")
    canvas.save()
    (picture,) = label_pictures(file.getvalue(), dots=203)
    return Image.open(BytesIO(picture))


def read(sent: bytes) -> list[str]:
    return [one.text for one in codes_in("IMG_1.JPG", sent)]


@pytest.mark.parametrize(
    "taken",
    [
        {}, {"turned": 33}, {"turned": 180}, {"noise": 60}, {"dim": True}, {"exif": 6},
        {"size": PHONE, "turned": 12, "noise": 25}, {"turned": 90, "noise": 40, "dim": True},
    ],
    ids=str,
)  # fmt: skip
def test_our_own_label_is_read_turned_by_a_lamp_with_noise_and_at_the_size_of_a_phone(taken: dict[str, int]) -> None:
    assert read(photograph(label(BAG), **{"size": (1600, 1600), **taken})) == [BAG]


@pytest.mark.parametrize("form", ["DataMatrix", "Code128", "QRCode"])
@pytest.mark.parametrize("turned", [0, 7, 90])
def test_a_carton_keeps_what_parts_its_fields_whichever_gs1_symbol_it_bears(form: str, turned: int) -> None:
    taken = photograph(symbol(CARTON, form, module=4, gs1=True), size=(2000, 2000), turned=turned)
    (code,) = codes_in("carton.jpg", taken)
    assert code.words == CARTON
    wanted = Carton(our_code="EL15-1", lot="L-77/A", use_by=date(2028, 8, 31), count=12)
    assert read_carton(code.text, today=date(2026, 3, 2)) == wanted


def test_the_same_text_in_a_symbol_that_is_no_gs1_stays_what_it_says() -> None:
    """Our bin code happens to begin as element strings do; only the symbol says whether it is one."""
    assert read(photograph(symbol("10A-7", "DataMatrix"))) == ["10A-7"]
    assert read(photograph(symbol("(10)A-7", "DataMatrix", gs1=True))) == ["]d210A-7"]


def test_several_codes_are_told_each_once_and_what_no_field_takes_is_left() -> None:
    both = photograph(symbol("N-01-2"), symbol("N-01-1", "Code128", module=4), symbol("N-01-2"), size=(2400, 1200))
    assert read(both) == ["N-01-1", "N-01-2"]
    assert read(photograph(symbol("BEGIN:CARD\nN:SOMEBODY\n"))) == []
    assert read(photograph()) == []


def test_what_is_no_picture_is_refused_before_anything_is_looked_for() -> None:
    good = photograph(symbol("N-01-1"))
    many = BytesIO()
    Image.new("1", (9000, 6000)).save(many, "PNG")
    assert "IMG_1.JPG is cut off" in refusal("picture-unreadable", read, good[: len(good) // 2])
    assert "not a JPEG or PNG" in refusal("picture-unreadable", read, b"<svg onload=alert(1)>" * 50)
    assert "million are the most" in refusal("too-many-pixels", read, many.getvalue())
    assert "TOO LARGE" in refusal("picture-too-large", read, bytes(LARGEST_FILE + 1))
    assert "is empty" in refusal("no-picture", read, b"")
    assert read(good) == ["N-01-1"]


_ASKED = """
import sys
import django
django.setup()
from kitting.services.photographed_codes import codes_in
codes_in("warm.png", sys.stdin.buffer.read(int(sys.argv[1])))
before = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
codes_in("large.png", sys.stdin.buffer.read())
after = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
print(int(after[0]) - int(before[0]))
"""


def clear_png(across: int, down: int) -> bytes:
    """A PNG of nothing but clear points, four bytes each (PNG specification, 5.2 and 11.2)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4) + kind + data + zlib.crc32(kind + data).to_bytes(4)

    head = across.to_bytes(4) + down.to_bytes(4) + bytes((8, 6, 0, 0, 0))  # 8 bits, red, green, blue, alpha
    packer, row = zlib.compressobj(1), bytes(1 + 4 * across)
    points = b"".join(packer.compress(row) for _ in range(down)) + packer.flush()
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", points) + chunk(b"IEND", b"")


def test_the_largest_picture_takes_a_quarter_of_a_gigabyte_while_its_code_is_read() -> None:
    """Four bytes for each of fifty million points as they are read, and one for each where only grey is kept."""
    warm = clear_png(20, 20)
    done = subprocess.run(
        [sys.executable, "-c", _ASKED, str(len(warm))], input=warm + clear_png(8600, 5800), capture_output=True,
        check=True, env={**os.environ, "DJANGO_SETTINGS_MODULE": "kitting.server.settings"},
    )  # fmt: skip
    assert int(done.stdout) < 280_000  # KiB


def test_a_photograph_of_nothing_but_grain_is_answered_too() -> None:
    grain = BytesIO()
    Image.frombytes("L", (3000, 2000), os.urandom(6_000_000)).save(grain, "JPEG", quality=90)
    assert read(grain.getvalue()) == []
