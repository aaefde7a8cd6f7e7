"""Letters on paper: the embedded font, its heights, measuring, shrinking, wrapping and drawing of text.

The font is Bitstream Vera Sans, which comes with reportlab and is embedded in every file, so that a letter has the same
height on every printer. Lengths are points unless the name says otherwise.
"""

import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import TypeVar

from reportlab import rl_config
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

REGULAR, BOLD = "Lettering", "Lettering-Bold"
CAP_HEIGHT = 1493 / 2048  # height of H over the em square, from the outlines of both faces
BREAK_AFTER = "-/;,.·"
rl_config.useA85 = 0  # streams as bytes: as letters they are a quarter longer and slow

_FACES = (TTFont(REGULAR, "Vera.ttf"), TTFont(BOLD, "VeraBd.ttf"))
for _face in _FACES:
    pdfmetrics.registerFont(_face)
_KNOWN = frozenset.intersection(*(frozenset(face.face.charToGlyph) for face in _FACES))
UNKNOWN = "?"


@dataclass(frozen=True, slots=True)
class Style:
    """A way of writing: point size, weight, width of the letters against the font's own, and line pitch over size."""

    size: float
    bold: bool = False
    stretch: float = 0.88
    pitch: float = 1.22

    @property
    def font(self) -> str:
        """Name of the registered face."""
        return BOLD if self.bold else REGULAR

    @property
    def leading(self) -> float:
        """Distance of base lines in points."""
        return self.size * self.pitch

    @property
    def cap_mm(self) -> float:
        """Height of the capitals in mm."""
        return self.size * CAP_HEIGHT / mm


def style_for_caps(height_mm: float, *, bold: bool = False, stretch: float = 0.88, pitch: float = 1.22) -> Style:
    """The style whose capitals are ``height_mm`` high."""
    return Style(size=height_mm * mm / CAP_HEIGHT, bold=bold, stretch=stretch, pitch=pitch)


@lru_cache(maxsize=65536)
def printable(text: str) -> str:
    """``text`` in letters that the font has: accents dropped where they must be, ``?`` where nothing else is left."""
    return "".join(_drawn(character) for character in unicodedata.normalize("NFC", " ".join(text.split())))


def _drawn(character: str) -> str:
    if ord(character) in _KNOWN:
        return character
    plain = unicodedata.normalize("NFKD", character)
    return "".join(part for part in plain if ord(part) in _KNOWN) or UNKNOWN


def width(text: str, style: Style) -> float:
    """Width of ``text`` as drawn, in points."""
    return _width(text, style.font) * style.size * style.stretch


@lru_cache(maxsize=65536)
def _width(text: str, font: str) -> float:
    """Width of ``text`` in a face one point high."""
    return float(pdfmetrics.stringWidth(printable(text), font, 1))


def wrapped(text: str, style: Style, room: float) -> list[str]:
    """``text`` in lines no wider than ``room``: broken at spaces, else after a separator, else anywhere; never cut."""
    lines: list[str] = []
    line = ""
    for word in printable(text).split(" "):
        joined = f"{line} {word}" if line else word
        if width(joined, style) <= room:
            line = joined
            continue
        if line:
            lines.append(line)
        *full, line = _pieces(word, style, room)
        lines += full
    return [*lines, line]


def _pieces(word: str, style: Style, room: float) -> list[str]:
    pieces: list[str] = []
    while width(word, style) > room and len(word) > 1:
        fits = max((end for end in range(1, len(word)) if width(word[:end], style) <= room), default=1)
        nice = max((end for end in range(1, fits + 1) if word[end - 1] in BREAK_AFTER), default=fits)
        pieces.append(word[:nice])
        word = word[nice:]
    return [*pieces, word]


def fitted(text: str, style: Style, room: float, floor: float) -> tuple[Style, list[str]]:
    """The largest style down to ``floor`` points in which ``text`` takes one line, else the floor, wrapped."""
    wide = width(text, style)
    if wide <= room:
        return style, [printable(text)]
    shrunk = replace(style, size=max(floor, style.size * room / wide * 0.999))
    return shrunk, wrapped(text, shrunk, room)


Kind = TypeVar("Kind", bound=Canvas)


def open_canvas(path: Path | BytesIO, title: str) -> Canvas:
    """A PDF to draw on; the same drawings give the same bytes, and only the embedded faces are used."""
    return open_kind(Canvas, path, title)


def open_kind(kind: type[Kind], path: Path | BytesIO, title: str) -> Kind:
    """The same as a canvas of another kind."""
    canvas = kind(
        str(path) if isinstance(path, Path) else path,
        invariant=1,
        pageCompression=1,
        lang="en",
        initialFontName=REGULAR,  # type: ignore[arg-type]  # the stubs say float, reportlab takes a face's name
    )
    canvas.setTitle(printable(title))
    return canvas


def put(canvas: Canvas, x: float, y: float, text: str, style: Style, *, align: str = "left") -> None:
    """Draw one line of ``text`` with its base line at ``y``; ``x`` is its left end, middle or right end."""
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
    written = canvas.beginText(x - shift * width(text, style), y)
    written.setFont(style.font, style.size)
    written.setHorizScale(style.stretch * 100)
    written.textOut(printable(text))
    canvas.drawText(written)
