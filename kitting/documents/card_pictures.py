"""Photographs and drawings on a night card: in grey, two beside each other; a PDF is only named."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import BytesIO

from PIL import Image
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from kitting.documents.layout import BODY, SECTION, Flow
from kitting.documents.lettering import put, wrapped

ACROSS = 2
TALLEST_MM, BETWEEN_MM = 46.0, 3.0
LONGEST_SIDE = 800  # pixels: more than 300 dots per inch at this size
_QUALITY = 75


@dataclass(frozen=True, slots=True)
class CardPicture:
    """A picture, and what stands below it; ``content`` is JPEG or PNG, b"" where it is only named."""

    caption: str
    content: bytes


def flow_pictures(flow: Flow, pictures: Sequence[CardPicture]) -> None:
    """Draw what can be drawn, then name the others; nothing where there is none."""
    if not pictures:
        return
    drawn = [one for one in pictures if one.content]
    flow.gap(2.5)
    flow.text("Photographs and drawings", SECTION, keep_mm=TALLEST_MM + 10 if drawn else 5)
    flow.gap(0.8)
    for start in range(0, len(drawn), ACROSS):
        _flow_row(flow, drawn[start : start + ACROSS])
    for one in pictures:
        if not one.content:
            flow.text(f"{one.caption}, on the phone")


def _flow_row(flow: Flow, row: Sequence[CardPicture]) -> None:
    across = (flow.area.width - BETWEEN_MM * mm * (ACROSS - 1)) / ACROSS
    grey = [_grey(one.content) for one in row]
    sizes = [_fitted(image, across) for image in grey]
    captions = [wrapped(one.caption, BODY, across) for one in row]
    tallest = max(height for _, height in sizes)
    top = flow.take(tallest + BODY.leading * max(map(len, captions)) + 2 * mm)
    for position, (image, size, lines) in enumerate(zip(grey, sizes, captions, strict=True)):
        left = flow.area.left + position * (across + BETWEEN_MM * mm)
        flow.draw(_drawing(image, left, top, size))
        for number, line in enumerate(lines):
            flow.draw(_line(left, top - size[1] - BODY.size - number * BODY.leading, line))


def _grey(content: bytes) -> Image.Image:
    with Image.open(BytesIO(content), formats=("JPEG", "PNG")) as image:
        grey = image.convert("L")
    grey.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    return grey


def _fitted(image: Image.Image, across: float) -> tuple[float, float]:
    """Width and height in points in which a picture keeps its shape."""
    scale = min(across / image.width, TALLEST_MM * mm / image.height)
    return image.width * scale, image.height * scale


def _drawing(image: Image.Image, left: float, top: float, size: tuple[float, float]) -> Callable[[Canvas], None]:
    file = BytesIO()
    image.save(file, "JPEG", quality=_QUALITY)
    width, height = size

    def drawing(canvas: Canvas) -> None:
        canvas.drawImage(ImageReader(file), left, top - height, width, height)
        canvas.setLineWidth(0.35)
        canvas.rect(left, top - height, width, height)

    return drawing


def _line(x: float, y: float, line: str) -> Callable[[Canvas], None]:
    return lambda canvas: put(canvas, x, y, line, BODY)
