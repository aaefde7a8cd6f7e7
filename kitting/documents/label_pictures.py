"""Labels as pictures, for label printers that take no PDF: each the same drawing, in black and white, dot for dot."""

from io import BytesIO
from threading import Lock
from zipfile import ZIP_STORED, ZipFile, ZipInfo

import pypdfium2
from PIL import Image

# Dots in an inch of label printers: 8 and 12 a millimetre (common practice of their makers).
DOTS_PER_INCH = (203, 300)
POINTS_PER_INCH = 72
_DARK_BELOW = 128
ONE_AT_A_TIME = Lock()  # the library that reads the drawing must not be used by two threads at once


def label_pictures(pdf: bytes, *, dots: int) -> list[bytes]:
    """Each page as PNG.

    Args:
        pdf: labels, a page each.
        dots: dots in an inch of the printer; the picture says them, so that it prints true to size.
    """
    with ONE_AT_A_TIME, pypdfium2.PdfDocument(pdf) as pages:
        return [_picture(page, dots) for page in pages]


def _picture(page: pypdfium2.PdfPage, dots: int) -> bytes:
    wide, high = (round(side * dots / POINTS_PER_INCH) for side in page.get_size())
    drawn: Image.Image = page.render(scale=dots / POINTS_PER_INCH, grayscale=True).to_pil()
    dark_or_light = drawn.crop((0, 0, wide, high)).point(lambda grey: 0 if grey < _DARK_BELOW else 255, "1")
    file = BytesIO()
    dark_or_light.save(file, "PNG", dpi=(dots, dots))
    return file.getvalue()


def packed_pictures(stem: str, pictures: list[bytes]) -> bytes:
    """Pictures of several labels in one file, numbered in their order; the same pictures give the same bytes."""
    file = BytesIO()
    with ZipFile(file, "w", ZIP_STORED) as packed:
        for number, picture in enumerate(pictures, 1):
            packed.writestr(ZipInfo(f"{stem}-{number:03}.png"), picture)
    return file.getvalue()
