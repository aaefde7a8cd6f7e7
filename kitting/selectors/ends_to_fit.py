"""The ends that the pieces of a bag go on: phases that are still open, and the lots to choose from."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from kitting.models import BagEntry, BagLine
from kitting.models.bags import FITTED
from kitting.selectors.bag_contents import Contents, LineStand, bare

_SIDES = {"from": "from end", "to": "to end", "joint": "joint", "position": ""}


@dataclass(frozen=True, slots=True)
class End:
    """A line of a bag where it is fitted.

    Args:
        line: of the bag.
        where: structure and position as a tag on the end says them, '' for none.
        name: the same with the side, for people.
        phases: letters that are not noted yet, or ``all``.
        each: pieces of a phase, in words.
        lots: number and words of the lots inside.
        done: how many are noted, '' for none.
        asks_where: the line names no position, or is a spare.
    """

    line: BagLine
    where: str
    name: str
    phases: Sequence[str]
    each: str
    lots: Sequence[tuple[str, str]]
    done: str
    asks_where: bool


def ends_to_fit(found: Collection[Contents]) -> dict[int, list[End]]:
    """The ends by bag, of lines that have pieces inside or on the line; one query, however many bags there are."""
    noted: dict[int, set[str]] = {}
    bags = [one.bag.pk for one in found]
    for line, phase in BagEntry.objects.filter(FITTED, line__bag__in=bags).values_list("line", "phase"):
        noted.setdefault(line, set()).add(phase)
    return {
        one.bag.pk: [
            _end(one, stand, noted.get(stand.line.pk, set()))
            for stand in one.lines
            if stand.line.item is not None and (stand.open or stand.installed)
        ]
        for one in found
    }


def _end(contents: Contents, stand: LineStand, noted: Collection[str]) -> End:
    facts = stand.line.facts
    phases, each = _shares(stand)
    lots = [
        (contents.lots[number].number, f"lot {contents.lots[number].number or 'unknown'}, {bare(pieces)} left")
        for number, pieces in stand.inside.items()
        if pieces > 0
    ]
    where = "-".join(filter(None, (facts.get("structure"), facts.get("position"))))
    more = (_SIDES.get(facts.get("side", "")), "spare" if stand.line.spare else "")
    return End(
        line=stand.line,
        where=where,
        name=", ".join(filter(None, (where, *more))) or "job",
        phases=[phase for phase in phases if phase not in noted] if stand.open else [],
        each=bare(each),
        lots=lots,
        done=f"{bare(stand.installed)} of {bare(stand.issued)} DONE" if stand.installed else "",
        asks_where=not facts.get("position") or stand.line.spare,
    )


def _shares(stand: LineStand) -> tuple[Sequence[str], int]:
    """The phases of a line and the thousandths of each; all at once where they don't share evenly."""
    phases, issued = str(stand.line.facts.get("phases", "")), min(stand.issued, stand.line.quantity)
    if phases and not stand.line.spare and issued % len(phases) == 0:
        return list(phases), issued // len(phases)
    return ["all"], stand.open
