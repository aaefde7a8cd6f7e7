"""The page frame that all documents share, and a flow of text and tables through its pages.

Everything lies inside a design area that both Letter and A4 hold with margins of 10 mm (190 x 259 mm), or both half
Letter and A5 (127 x 198 mm). Flow lengths are points; columns are mm.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.documents.lettering import Style, open_canvas, put, width, wrapped
from kitting.documents.marks import draw_check_bar, draw_demo
from kitting.documents.square_codes import draw_code

Drawing = Callable[[Canvas], None]
PAGES_MM = {"Letter": (215.9, 279.4), "A4": (210.0, 297.0)}
CARDS_MM = {"Letter": (139.7, 215.9), "A4": (148.0, 210.0)}
BODY = Style(size=9)
STRONG = Style(size=9, bold=True)
SECTION = Style(size=11.5, bold=True, stretch=0.92)
TITLE = Style(size=14, bold=True, stretch=0.92)
CODE_MM = 20.0
FOOT_BAR_MM = 5.5


@dataclass(frozen=True, slots=True)
class Area:
    """A page and the design area centred on it, in points."""

    page_width: float
    page_height: float
    width: float
    height: float

    @property
    def left(self) -> float:
        """Left edge of the design area."""
        return (self.page_width - self.width) / 2

    @property
    def top(self) -> float:
        """Upper edge of the design area."""
        return (self.page_height + self.height) / 2

    @property
    def bottom(self) -> float:
        """Lower edge of the design area."""
        return (self.page_height - self.height) / 2


def sheet_area(paper: str, *, landscape: bool = False) -> Area:
    """A whole Letter or A4 page."""
    across, down = PAGES_MM[paper]
    if landscape:
        return Area(down * mm, across * mm, 259 * mm, 190 * mm)
    return Area(across * mm, down * mm, 190 * mm, 259 * mm)


def card_area(paper: str) -> Area:
    """Half a Letter page, or A5 where the paper is A4."""
    across, down = CARDS_MM[paper]
    return Area(across * mm, down * mm, 127 * mm, 198 * mm)


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands at the head and the foot of every page of a document.

    Args:
        title: kind of document, with its depot.
        subject: job number and title, or the location on a card.
        facts: lines under the subject (cutover, depot, revision, stock as of).
        number: readable number, with check characters.
        code: what the two-dimensional code holds.
        cautions: paragraphs at the foot.
        demo: print DEMO across the page.
        check_bar: print the bar that shows whether the print is true to size.
    """

    title: str
    subject: str
    facts: tuple[str, ...]
    number: str
    code: str
    cautions: tuple[str, ...]
    demo: bool
    check_bar: bool = True

    @property
    def bar_mm(self) -> float:
        """Height that the check bar takes at the foot."""
        return FOOT_BAR_MM if self.check_bar else 0.0


@dataclass(frozen=True, slots=True)
class Column:
    """A table column: heading, width in mm, and how its cells are set."""

    heading: str
    width_mm: float
    align: str = "left"
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A cell that begins with something drawn in the square ``draw(canvas, x, y, side)``; text may follow."""

    draw: Callable[[Canvas, float, float, float], None]
    text: str = ""
    side_mm: float = 3.0


Cell = str | Mark


class Flow:
    """Fills the pages of one document from top to bottom; nothing is drawn before the number of pages is known."""

    def __init__(self, area: Area, frame: Frame, *, pad_mm: float = 1.6) -> None:
        self.area = area
        self._pad = pad_mm * mm  # white in a table row
        self.frame = frame
        self.pages: list[list[Drawing]] = [[]]
        self._subject = _lines(frame.subject, TITLE, self._head_room)
        self._facts = [line for fact in frame.facts for line in wrapped(fact, BODY, self._head_room)]
        self._cautions = [line for text in frame.cautions for line in wrapped(text, BODY, area.width)]
        text_height = BODY.leading * (len(self._facts) + 1) + TITLE.leading * len(self._subject) + 1 * mm
        self._body_top = area.top - max(text_height, CODE_MM * mm + BODY.leading) - 3 * mm
        self._body_bottom = area.bottom + frame.bar_mm * mm + BODY.leading * len(self._cautions) + 2 * mm
        self.y = self._body_top

    @property
    def _head_room(self) -> float:
        return self.area.width - (CODE_MM + 14) * mm

    @property
    def room(self) -> float:
        """Height that is left on the page."""
        return self.y - self._body_bottom

    @property
    def whole_page(self) -> float:
        """Height of an empty page."""
        return self._body_top - self._body_bottom

    def new_page(self) -> None:
        """Go on at the top of a fresh page."""
        self.pages.append([])
        self.y = self._body_top

    def take(self, height: float) -> float:
        """Move down by ``height``, onto a fresh page where it does not fit; gives the upper edge of the room taken."""
        if height > self.room and self.y < self._body_top:
            self.new_page()
        self.y -= height
        return self.y + height

    def draw(self, drawing: Drawing) -> None:
        """Add a drawing to the current page."""
        self.pages[-1].append(drawing)

    def gap(self, height_mm: float) -> None:
        """Leave white, unless at the top of a page."""
        if self.y < self._body_top:
            self.y -= min(height_mm * mm, self.room)

    def text(self, text: str, style: Style = BODY, *, keep_mm: float = 0, indent_mm: float = 0) -> None:
        """A paragraph; with ``keep_mm`` it moves to the next page unless that much room is left below it."""
        lines = wrapped(text, style, self.area.width - indent_mm * mm)
        if style.leading * len(lines) + keep_mm * mm > self.room and self.y < self._body_top:
            self.new_page()
        for line in lines:
            top = self.take(style.leading)
            self.draw(_at(self.area.left + indent_mm * mm, top - style.size, line, style))

    def boxed(self, text: str) -> None:
        """A paragraph in a box of its own, on one page."""
        lines = wrapped(text, STRONG, self.area.width - 6 * mm)
        height = STRONG.leading * len(lines) + 3 * mm
        top = self.take(height + 1.5 * mm)
        for position, line in enumerate(lines):
            base = top - 1.5 * mm - STRONG.size - position * STRONG.leading
            self.draw(_at(self.area.left + 3 * mm, base, line, STRONG))
        self.draw(_box(self.area.left, top - height, self.area.width, height))

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[Cell]]) -> None:
        """A table whose head is repeated on every page; a row stays on one page unless it is taller than a page."""
        head = [wrapped(column.heading, STRONG, _inner(column)) for column in columns]
        head_height = STRONG.leading * max(map(len, head)) + 1.4 * mm
        if head_height + 12 * mm > self.room:
            self.new_page()
        self._table_head(columns, head, head_height)
        for row in rows:
            cells = [_cell_lines(cell, column) for cell, column in zip(row, columns, strict=True)]
            lines: list[list[str]] | None = cells
            while lines is not None:
                lines = self._table_row(columns, row, lines, (head, head_height))

    def _table_head(self, columns: Sequence[Column], head: Sequence[Sequence[str]], height: float) -> None:
        top = self.take(height)
        x = self.area.left
        for column, lines in zip(columns, head, strict=True):
            for position, line in enumerate(lines):
                self.draw(_in_column(column, x, top - STRONG.size - position * STRONG.leading, line, STRONG))
            x += column.width_mm * mm
        self.draw(_rule(self.area.left, x, top - height + 0.6 * mm, 1.0))

    def _table_row(
        self,
        columns: Sequence[Column],
        row: Sequence[Cell],
        lines: list[list[str]],
        head: tuple[Sequence[Sequence[str]], float],
    ) -> list[list[str]] | None:
        """Draw as much of the row as the page holds; gives the lines that are left for the next page, or None."""
        pad = self._pad
        height = max(BODY.leading * max(map(len, lines)), _mark_height(row)) + pad
        if height > self.room and (height <= self.whole_page - head[1] or self.room < 20 * mm):
            self.new_page()
            self._table_head(columns, *head)
        fits = max(int((self.room - pad) / BODY.leading), 1)
        now, later = [cell[:fits] for cell in lines], [cell[fits:] for cell in lines]
        height = max(BODY.leading * max(map(len, now)), _mark_height(row)) + pad
        top = self.take(height)
        x = self.area.left
        for column, cell, texts in zip(columns, row, now, strict=True):
            style = STRONG if column.bold else BODY
            shift = 0.0
            if isinstance(cell, Mark):
                self.draw(_marked(cell, x, top - 0.3 * mm - cell.side_mm * mm))
                shift = (cell.side_mm + 1.2) * mm if cell.text else 0.0
            for position, line in enumerate(texts):
                self.draw(_in_column(column, x + shift, top - style.size - position * style.leading, line, style))
            x += column.width_mm * mm
        self.draw(_rule(self.area.left, x, top - height + 0.6 * mm, 0.35))
        return later if any(later) else None

    def paint(self, canvas: Canvas) -> None:
        """Draw all pages, now that their number is known."""
        for number, drawings in enumerate(self.pages, 1):
            canvas.setPageSize((self.area.page_width, self.area.page_height))
            if self.frame.demo:
                draw_demo(canvas, self.area.page_width, self.area.page_height, 40)
            canvas.setFillGray(0)
            canvas.setStrokeGray(0)
            self._paint_head(canvas, number)
            for drawing in drawings:
                drawing(canvas)
            self._paint_foot(canvas)
            canvas.showPage()

    def _paint_head(self, canvas: Canvas, number: int) -> None:
        area, frame = self.area, self.frame
        right = area.left + area.width
        draw_code(canvas, right - CODE_MM * mm, area.top - CODE_MM * mm, frame.code, CODE_MM)
        put(canvas, right, area.top - CODE_MM * mm - BODY.size, frame.number, STRONG, align="right")
        put(
            canvas,
            right - (CODE_MM + 2) * mm,
            area.top - BODY.size,
            f"page {number} of {len(self.pages)}",
            STRONG,
            align="right",
        )
        title = frame.title + (" · DEMO, invented data" if frame.demo else "")
        y = area.top - STRONG.size
        put(canvas, area.left, y, title, STRONG)
        y -= 1 * mm
        for style, lines in ((TITLE, self._subject), (BODY, self._facts)):
            for line in lines:
                y -= style.leading
                put(canvas, area.left, y, line, style)
        _rule(area.left, right, self._body_top + 1.4 * mm, 1.2)(canvas)

    def _paint_foot(self, canvas: Canvas) -> None:
        area = self.area
        y = area.bottom + self.frame.bar_mm * mm + BODY.leading * len(self._cautions)
        _rule(area.left, area.left + area.width, y + 0.4 * mm, 0.6)(canvas)
        for line in self._cautions:
            y -= BODY.leading
            put(canvas, area.left, y + 0.6 * mm, line, BODY)
        if self.frame.check_bar:
            draw_check_bar(canvas, area.left, area.bottom)


def save(path: Path, flows: Sequence[Flow], title: str) -> Path:
    """Write the flows one after the other as one PDF; the same flows give the same bytes."""
    canvas = open_canvas(path, title)
    for flow in flows:
        flow.paint(canvas)
    canvas.save()
    return path


def _lines(text: str, style: Style, room: float) -> list[str]:
    return wrapped(text, style, room) if text else []


def _inner(column: Column) -> float:
    """Width for text: white on the right, more of it beside figures that end there."""
    return (column.width_mm - (3.4 if column.align == "right" else 1.6)) * mm


def _cell_lines(cell: Cell, column: Column) -> list[str]:
    style = STRONG if column.bold else BODY
    if isinstance(cell, Mark):
        return wrapped(cell.text, style, _inner(column) - (cell.side_mm + 1.2) * mm) if cell.text else []
    return wrapped(cell, style, _inner(column)) if cell else []


def _mark_height(row: Sequence[Cell]) -> float:
    return max((cell.side_mm * mm for cell in row if isinstance(cell, Mark)), default=BODY.leading)


def _in_column(column: Column, x: float, y: float, line: str, style: Style) -> Drawing:
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[column.align] * (_inner(column) - width(line, style))
    return _at(x + shift, y, line, style)


def _at(x: float, y: float, line: str, style: Style) -> Drawing:
    return lambda canvas: put(canvas, x, y, line, style)


def _marked(cell: Mark, x: float, y: float) -> Drawing:
    return lambda canvas: cell.draw(canvas, x, y, cell.side_mm * mm)


def _box(x: float, y: float, across: float, height: float) -> Drawing:
    def drawing(canvas: Canvas) -> None:
        canvas.setLineWidth(1.2)
        canvas.setStrokeGray(0)
        canvas.rect(x, y, across, height, stroke=1, fill=0)

    return drawing


def _rule(left: float, right: float, y: float, thickness: float) -> Drawing:
    def drawing(canvas: Canvas) -> None:
        canvas.setLineWidth(thickness)
        canvas.setStrokeGray(0)
        canvas.line(left, y, right, y)

    return drawing
