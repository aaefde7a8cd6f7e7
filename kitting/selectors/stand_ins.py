"""Open lines that still hold pieces of a stand-in whose approval does not reach the day of their cutover."""

from dataclasses import dataclass
from datetime import date

from kitting.calculation.sheets.book import read_book
from kitting.calculation.stand_in_comparison import templates_by_line
from kitting.models import Promise
from kitting.selectors.sheets import sheets_from_records


@dataclass(frozen=True, slots=True)
class OnEnded:
    """Thousandths promised to a line, that only an approval lets serve, and that none does any more.

    ``ended`` is the last day of the approval that ended last; None where there is none left.
    """

    job: str
    line: str
    stock_code: str
    quantity: int
    place: str
    ended: date | None


def lines_on_ended(*, today: date) -> list[OnEnded]:
    """Promised pieces of stand-ins that ended before the cutover of their line, in line order.

    The number of queries never grows. Pieces that a bag holds are promised from that bag, so its place names it.
    """
    found = Promise.objects.filter(released_at__isnull=True, job__ended="").order_by("line", "pk")
    rows = list(
        found.values_list(
            "job__job", "line", "item__stock_code", "quantity", "place__depot__depot", "place__code", "job__cutover"
        )
    )
    templates = templates_by_line(read_book(sheets_from_records(today))) if rows else {}
    told = []
    for job, line, code, quantity, depot, place, cutover in rows:
        template = templates.get(line)
        if template is None or template.match is None or code in template.codes:
            continue
        options = [one for one in template.match.stand_ins if one.stock_code == code]
        if not any(
            (one.valid_from or cutover[:10]) <= cutover[:10] <= (one.valid_to or cutover[:10]) for one in options
        ):
            ends = [date.fromisoformat(one.valid_to) for one in options if one.valid_to]
            where = f"{depot}/{place}" if place else ""
            told.append(OnEnded(job, line, code, quantity, where, max(ends, default=None)))
    return told
