"""Two-dimensional codes (QR, ISO/IEC 18004) drawn as sharp squares, with their quiet zone kept white."""

from functools import lru_cache

from reportlab.graphics.barcode.qrencoder import QR8bitByte, QRAlphaNum, QRCode, QRErrorCorrectLevel
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

QUIET_MODULES = 4  # ISO/IEC 18004 asks for four modules of white on every side
_ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


@lru_cache(maxsize=1024)
def modules(content: str) -> tuple[tuple[bool, ...], ...]:
    """The dark (true) and light modules of the smallest code for ``content`` at error correction level M."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData((QRAlphaNum if _ALPHANUMERIC.issuperset(content) else QR8bitByte)(content))
    code.make()
    return tuple(tuple(bool(dark) for dark in row) for row in code.modules)


def full_size_mm(content: str, symbol_mm: float) -> float:
    """Side of the code with its quiet zone, in mm, when the code itself is ``symbol_mm`` wide."""
    count = len(modules(content))
    return symbol_mm * (count + 2 * QUIET_MODULES) / count


def draw_code(canvas: Canvas, x: float, y: float, content: str, full_mm: float) -> None:
    """Draw the code; ``x``, ``y`` (points) is the lower left corner of the quiet zone, ``full_mm`` its side."""
    side = full_mm * mm
    module = side / (len(modules(content)) + 2 * QUIET_MODULES)
    canvas.setFillGray(1)
    canvas.rect(x, y, side, side, stroke=0, fill=1)
    canvas.setFillGray(0)
    canvas.saveState()
    canvas.translate(x + QUIET_MODULES * module, y + QUIET_MODULES * module)
    canvas.scale(module, module)
    canvas.drawPath(_outline(content), stroke=0, fill=1)
    canvas.restoreState()


@lru_cache(maxsize=1024)
def _outline(content: str) -> PDFPathObject:
    """All dark modules, one unit wide each, from the lower left corner of the code."""
    dark, outline = modules(content), PDFPathObject()
    for row, cells in enumerate(dark):
        for start, length in _runs(cells):
            outline.rect(start, len(dark) - row - 1, length, 1)
    return outline


def _runs(cells: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Start and length of each unbroken run of dark modules, so that no hairline parts them in print."""
    runs: list[tuple[int, int]] = []
    for column, dark in enumerate(cells):
        if dark and runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif dark:
            runs.append((column, 1))
    return runs
