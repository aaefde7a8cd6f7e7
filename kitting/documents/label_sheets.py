"""Labels on sheets of Letter or A4: as many as fit, each true to size, with lines to cut along and the check bar."""

from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from kitting.documents.layout import FOOT_BAR_MM, Area, sheet_area
from kitting.documents.lettering import open_kind
from kitting.documents.marks import draw_check_bar

Size = tuple[float, float]


class LabelSheets(Canvas):
    """A canvas on which each page that is asked for and shown becomes the next place on a sheet.

    Whoever draws labels sets the size of a label and shows its page, as on labels of their own.
    """

    area: Area | None = None  # of the sheets, in points
    _label: Size = (0.0, 0.0)
    _taken = 0

    def setPageSize(self, size: Size) -> None:  # noqa: N802 - the name is reportlab's
        """Begin a label of ``size`` points."""
        if self.area is None:  # while the canvas is made
            super().setPageSize(size)
            return
        if self._taken and size != self._label:
            self._end_sheet()
        self._label = size
        if not self._taken:
            self._begin_sheet(self.area)
        self.saveState()
        x, y = self._corner(self.area, self._taken)
        self.setLineWidth(0.25)
        self.setStrokeGray(0.6)  # to cut along
        self.rect(x, y, *self._cell(self.area), stroke=1, fill=0)
        self.setStrokeGray(0)
        self.translate(x, y)
        if self._turned(self.area):
            self.translate(size[1], 0)
            self.rotate(90)

    def showPage(self) -> None:  # noqa: N802 - the name is reportlab's
        """End a label; a full sheet ends with it."""
        if self.area is None:
            super().showPage()
            return
        self.restoreState()
        self._taken += 1
        across, down = self._grid(self.area)
        if self._taken == across * down:
            self._end_sheet()

    def save(self) -> None:
        """End the last sheet and write the file."""
        if self._taken:
            self._end_sheet()
        self.area = None
        super().save()

    def _begin_sheet(self, area: Area) -> None:
        super().setPageSize((area.page_width, area.page_height))
        draw_check_bar(self, area.left, area.bottom)

    def _end_sheet(self) -> None:
        self._taken = 0
        super().showPage()

    def _turned(self, area: Area) -> bool:
        """Whether labels lie on their side: where no two of them would stand on a sheet."""
        across, down = _times(area, self._label)
        return across * down < 2

    def _cell(self, area: Area) -> Size:
        return (self._label[1], self._label[0]) if self._turned(area) else self._label

    def _grid(self, area: Area) -> tuple[int, int]:
        across, down = _times(area, self._cell(area))
        return max(across, 1), max(down, 1)

    def _corner(self, area: Area, place: int) -> Size:
        """Lower left corner of a place; the places begin at the upper left and go on by rows."""
        width, height = self._cell(area)
        row, column = divmod(place, self._grid(area)[0])
        return area.left + column * width, area.top - (row + 1) * height


def _times(area: Area, size: Size) -> tuple[int, int]:
    """How many stand beside each other, and above the check bar below each other."""
    return int(area.width / size[0]), int((area.height - FOOT_BAR_MM * mm) / size[1])


def open_sheets(file: BytesIO, title: str, paper: str) -> LabelSheets:
    """Sheets of ``paper`` (Letter or A4) to draw labels on."""
    sheets = open_kind(LabelSheets, file, title)
    sheets.area = sheet_area(paper)
    return sheets
