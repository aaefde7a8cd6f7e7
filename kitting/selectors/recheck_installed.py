"""Which parts on the line would today's rules, items and cables refuse, and which can nobody check."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from jobs.models import Job
from kitting.calculation.installed_parts import SERVES, Finding, InstalledPart, recheck
from kitting.calculation.natural_order import natural_key
from kitting.calculation.sheets.book import read_book
from kitting.models import BagEntry
from kitting.models.bags import FITTED
from kitting.selectors.installed_ends import on_the_line
from kitting.selectors.sheets import sheets_of_jobs

_FACTS = ("run", "side", "structure", "position", "kind")  # columns of the requirements table


@dataclass(frozen=True, slots=True)
class Rechecked:
    """Thousandths of a lot at one end and phase of which today's rules say something else than that they serve.

    ``slot`` is the kind of part; ``check`` the check that fails, or the fact that is missing where ``state`` is
    ``can't check``; ``sentence`` says it in words.
    """

    job: str
    end: str
    phase: str
    slot: str
    stock_code: str
    lot: str
    quantity: int
    state: str
    check: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Recheck:
    """What is to be looked at, in the order of jobs and ends, and thousandths of pieces that were looked at in all."""

    rows: tuple[Rechecked, ...]
    checked: int


def recheck_installed(on: date | None = None) -> Recheck:
    """Every piece that is on the line against the rule book that is live on a day (today) and the facts as they are.

    The number of queries never grows, and the rules are worked through once for all pieces.

    Raises:
        Refusal: the rule book can't be read.
    """
    entries = [
        *BagEntry.objects.filter(FITTED)
        .select_related("line__bag__job", "lot__item")
        .order_by("line__bag__job__job", "line__bag__number", "line__position", "pk")
    ]
    left = on_the_line(entries)
    entries = [entry for entry in entries if left[entry.pk]]
    jobs = Job.objects.filter(bags__lines__entries__in=BagEntry.objects.filter(FITTED)).distinct()
    book = read_book(sheets_of_jobs(jobs, on))
    findings = recheck(book, [_part(entry) for entry in entries])
    found = [
        _row(entry, left[entry.pk], finding)
        for entry, finding in zip(entries, findings, strict=True)
        if finding.state != SERVES
    ]
    found.sort(key=lambda row: natural_key(row.job))
    return Recheck(tuple(found), sum(left[entry.pk] for entry in entries))


def _part(entry: BagEntry) -> InstalledPart:
    line = entry.line
    facts: Mapping[str, str] = line.facts
    given = {name: facts.get(name, "") for name in _FACTS}
    return InstalledPart(
        **given,
        job=line.bag.job.job,
        phases=_phases(entry),
        stock_code=entry.lot.item.stock_code,
        spare=line.spare,
        gauge=entry.facts.get("gauge", ""),
        day=line.bag.job.cutover[:10],
    )


def _phases(entry: BagEntry) -> str:
    phases: str = entry.phase or entry.line.facts.get("phases", "")
    return phases


def _row(entry: BagEntry, quantity: int, finding: Finding) -> Rechecked:
    facts = entry.line.facts
    run = f"r{facts['run']}" if facts.get("run") else ""
    return Rechecked(
        job=entry.line.bag.job.job,
        end=_words("-".join(_given(facts, "structure", "position")), run, facts.get("side", "")),
        phase=_phases(entry),
        slot=facts.get("kind", ""),
        stock_code=entry.lot.item.stock_code,
        lot=entry.lot.number,
        quantity=quantity,
        state=finding.state,
        check=finding.check,
        sentence=finding.sentence,
    )


def _given(facts: Mapping[str, str], *names: str) -> Iterable[str]:
    return filter(None, (facts.get(name, "") for name in names))


def _words(*texts: str) -> str:
    return " ".join(filter(None, texts))
