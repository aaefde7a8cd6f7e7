"""What is on each end of the line: its record, open until every phase is there, and all that was there before."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet, Sum

from kitting.calculation.bag_states import CLOSED, OUT
from kitting.calculation.quantities import PER_UNIT
from kitting.models import Bag, BagEntry, Retired
from kitting.models.bags import FITTED
from kitting.selectors.bag_contents import LineStand, bare, contents_of
from kitting.selectors.fit_margins import fit_margin

EndKey = tuple[str, str]  # structure, position


@dataclass(frozen=True, slots=True)
class EndRecord:
    """What an end, with all that sits at its position, still lacks.

    ``missing`` are kinds and thousandths by phase, '' where a part belongs to none; ``unnamed`` are thousandths
    that were noted without a phase and don't make up all of them.
    """

    structure: str
    position: str
    missing: Mapping[str, Mapping[str, int]]
    unnamed: int

    @property
    def is_open(self) -> bool:
        """Whether a phase is missing."""
        return bool(self.missing)

    @property
    def sentence(self) -> str:
        """In words: ``A2-a is open: phase C lacks 1 elbow, 1 probe``."""
        where = f"{self.structure}-{self.position}"
        if not self.is_open:
            return f"{where} is complete"
        lacks = [
            f"{f'phase {phase}' if phase else 'the end'} lacks "
            + ", ".join(f"{bare(pieces)} {kind}" for kind, pieces in kinds.items())
            for phase, kinds in self.missing.items()
        ]
        unnamed = [f"{bare(self.unnamed)} noted without a phase"] if self.unnamed else []
        return f"{where} is open: {'; '.join((*lacks, *unnamed))}"


@dataclass(slots=True)
class _Line:
    """A requirement line of an end: what it wants in all, and what was noted, by phase."""

    kind: str
    phases: str
    wanted: int = 0
    left: int = 0
    noted: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    def lacks(self) -> dict[str, int]:
        """Thousandths that each phase lacks; one sum under '' for a line that is not for each phase."""
        letters = self.phases if self.wanted % (PER_UNIT * max(len(self.phases), 1)) == 0 else ""
        if not letters or sum(self.noted.values()) >= self.wanted == self.noted[""]:
            lack = self.wanted - sum(self.noted.values())
            return {"": lack} if lack > 0 else {}
        each, lacking = self.wanted // len(letters), {}
        for letter in letters:
            there = sum(pieces // len(phases) for phases, pieces in self.noted.items() if letter in phases)
            if there < each:
                lacking[letter] = each - there
        return lacking


def ends_of(job: str) -> list[EndRecord]:
    """The ends of a job of which pieces were fitted or are with the crew, in the order of its bags; seven queries."""
    went_out = Q(state__in=(*OUT, CLOSED)) | Q(state_before_hold__in=OUT)
    bags = Bag.objects.filter(went_out, job__job=job).select_related("job", "depot").order_by("number")
    stands = [stand for one in contents_of(bags).values() for stand in one.lines if not stand.line.dropped]
    noted = _noted(stands)
    found: dict[EndKey, dict[str, _Line]] = defaultdict(dict)
    for stand in stands:
        facts = stand.line.facts
        if stand.line.spare or not facts.get("position"):
            continue
        key = (stand.line.bag.structure, facts["position"])
        line = found[key].setdefault(stand.line.line, _Line(facts.get("kind", ""), facts.get("phases", "")))
        line.wanted += stand.line.quantity
        line.left += stand.open
        for phases, pieces in noted[stand.line.pk].items():
            line.noted[phases] += pieces
    for entry in _fitted_elsewhere(stands):
        _add_elsewhere(found, entry)
    return [_record(key, lines.values()) for key, lines in found.items() if _is_begun(lines.values())]


def _noted(stands: Iterable[LineStand]) -> dict[int, dict[str, int]]:
    sums = BagEntry.objects.filter(FITTED, line__in=[stand.line.pk for stand in stands])
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for line, phases, pieces in sums.values_list("line", "phase").annotate(Sum("quantity")):
        found[line][phases] = pieces
    return found


def _fitted_elsewhere(stands: Iterable[LineStand]) -> "QuerySet[BagEntry]":
    """Spares that were fitted at a named position."""
    lines = [stand.line.pk for stand in stands]
    found = BagEntry.objects.filter(FITTED, line__in=lines, line__spare=True, facts__has_key="position")
    return found.select_related("line__bag", "lot__item").order_by("pk")


def _add_elsewhere(found: Mapping[EndKey, Mapping[str, _Line]], entry: BagEntry) -> None:
    """Count a spare for the first line of its kind at its position that lacks pieces."""
    for line in found.get((entry.line.bag.structure, entry.facts["position"]), {}).values():
        if line.kind == entry.lot.item.kind and line.lacks():
            line.noted[entry.phase] += entry.quantity
            return


def _is_begun(lines: Iterable[_Line]) -> bool:
    return any(line.left or sum(line.noted.values()) for line in lines)


def _record(key: EndKey, lines: Iterable[_Line]) -> EndRecord:
    missing: dict[str, dict[str, int]] = defaultdict(dict)
    unnamed = 0
    for line in lines:
        lacking = line.lacks()
        for phase, pieces in lacking.items():
            missing[phase][line.kind] = missing[phase].get(line.kind, 0) + pieces
        unnamed += line.noted[""] if lacking and "" not in lacking else 0
    return EndRecord(*key, {phase: missing[phase] for phase in sorted(missing)}, unnamed)


@dataclass(frozen=True, slots=True)
class Fitted:
    """Pieces that came to a position with one entry: thousandths then, those that are still there, and what left."""

    entry: BagEntry
    left: int
    retired: Sequence[Retired]

    @property
    def words(self) -> str:
        """What is there now, how well it fits: ``phase B: 1 EL15-2 lot L-1, margin 1.52 mm (0.060 in), measured``."""
        phase, margin = f"phase {self.entry.phase}: " if self.entry.phase else "", fit_margin(self.entry).words
        return f"{phase}{bare(self.left)} {self.entry.lot}{f', {margin}' if margin else ''}"

    @property
    def sentence(self) -> str:
        """In words, with dates: ``phase B: 1 EL15-2 lot L-1 since 2026-03-05 (J01)``."""
        where = f"phase {self.entry.phase}: " if self.entry.phase else ""
        job, lot = self.entry.line.bag.job.job, self.entry.lot
        here = f"since {self.entry.action.at:%Y-%m-%d} ({job})"
        gone = [f"{bare(one.quantity)} retired {one.action.at:%Y-%m-%d}: {one.why}" for one in self.retired]
        return f"{where}{bare(self.entry.quantity)} {lot} {'; '.join((here, *gone))}"


def history(structure: str, position: str) -> list[Fitted]:
    """All that was ever fitted at a position, the first first, with what was taken off again; two queries.

    Position '' is what was noted at the structure, or along the cable there, without one.
    """
    return histories([(structure, position)])[structure, position]


def histories(keys: Collection[EndKey]) -> dict[EndKey, list[Fitted]]:
    """The same of several positions, by structure and position; two queries."""
    structures, positions = {structure for structure, _ in keys}, {position for _, position in keys}
    here = Q(line__bag__structure__in=structures) | Q(line__facts__structure__in=structures)
    there = Q(line__facts__position__in=positions) | Q(facts__position__in=positions)
    if "" in positions:
        there = Q()
    entries = BagEntry.objects.filter(FITTED, here, there).select_related(
        "action", "lot__item", "line__bag__job", "line__bag__depot"
    )
    found: dict[EndKey, list[Fitted]] = {key: [] for key in keys}
    for one in _with_retired([*entries.order_by("action__at", "pk")]):
        for key in keys:
            if _is_at(one.entry, *key):
                found[key].append(one)
    return found


def _is_at(entry: BagEntry, structure: str, position: str) -> bool:
    facts = entry.line.facts
    named = {*filter(None, (facts.get("position"), entry.facts.get("position")))}
    return structure in (entry.line.bag.structure, facts.get("structure")) and position in (named or {""})


def on_the_line(entries: Iterable[BagEntry]) -> dict[int, int]:
    """Thousandths of installed entries that were not taken off again, by their numbers; one query."""
    return {one.entry.pk: one.left for one in _with_retired([*entries])}


def _with_retired(entries: Sequence[BagEntry]) -> Iterator[Fitted]:
    gone: dict[int, list[Retired]] = defaultdict(list)
    for one in Retired.objects.filter(entry__in=entries).select_related("action").order_by("pk"):
        gone[one.entry_id].append(one)
    for entry in entries:
        retired = gone[entry.pk]
        yield Fitted(entry, entry.quantity - sum(one.quantity for one in retired), retired)
