"""The print queue of a depot: papers of a day wait until they are on paper, each kind in one file in rack order."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from inventory.selectors.finding import depot_named
from kitting.documents import pick_list_of, print_document
from kitting.documents.bag_records import bag_papers
from kitting.documents.day_labels import (
    CUTOVER,
    DAYS,
    LABELLED,
    DayLabel,
    day_labels_pdf,
    labels_of_bags,
    labels_of_day,
    papers_of,
    rack_of,
    rack_order,
)
from kitting.documents.joining import joined
from kitting.documents.label_records import BAG_PAPERS, INNER_LABELS, NIGHT_CARD, LabelPapers, contents_to_print
from kitting.documents.record_papers import Printed, content_revision
from kitting.errands.keeping import packed_names
from kitting.errors import Refusal
from kitting.models import BAG_LABEL, Bag, QueuedPaper
from kitting.models.print_queue import QUEUE_ENDS, WAITING
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page, refused
from kitting.pages.paper_pages import (
    NO_PAPERS,
    PICKS,
    SLIPS,
    about_pick,
    file_response,
    kept_papers,
    labels_response,
    plan_of,
    printed,
    printed_as,
)
from kitting.pages.tables import Cell, Table, link
from kitting.pages.typed import day_of
from kitting.selectors.bag_contents import bag_by_code, label_code
from kitting.selectors.job_sheet import job_by_number
from kitting.selectors.printed_papers import PICK_LIST
from kitting.selectors.sight import names_as_read_by
from kitting.services.queue_papers import WantedPaper, end_papers, link_print, queue_papers

ISSUE_SLIP, RETURN_SLIP = "issue-slip", "return-slip"
# What may wait, in the order in which a day's papers are needed.
QUEUED = {PICK_LIST: "Pick lists", BAG_LABEL: "Bag labels", INNER_LABELS: "Inner labels", NIGHT_CARD: "Night cards",
          ISSUE_SLIP: "Issue slips", RETURN_SLIP: "Return slips"}  # fmt: skip
OF_A_BAG = {kind: label for kind, label in QUEUED.items() if kind in BAG_PAPERS}


def print_queue(asked: Asked, depot: str) -> HttpResponse:
    """What waits at a depot, day by day; put papers in, make a file of them, say that they are on paper."""
    found = depot_named(depot)
    if asked.request.method == "POST":
        return _changed(asked, found)
    waiting = _in_rack_order(found, [*_waiting(found)])
    days: dict[date, dict[str, list[QueuedPaper]]] = defaultdict(lambda: defaultdict(list))
    for one, _ in waiting:
        days[one.day][one.document].append(one)
    racks = {one.pk: rack for one, rack in waiting}
    queue = [
        {
            "day": day,
            "kinds": [_kind(asked, document, by_kind[document], racks) for document in QUEUED if document in by_kind],
        }
        for day, by_kind in sorted(days.items())
    ]
    return page(asked, "print_queue.html", {"depot": found.depot, "queue": queue})


def _waiting(depot: Depot) -> Iterator[QueuedPaper]:
    found = QueuedPaper.objects.filter(depot=depot, ended=WAITING)
    yield from found.select_related("job", "bag__job", "bag__depot", "printing").order_by("day", "pk")


def _in_rack_order(depot: Depot, papers: Sequence[QueuedPaper]) -> list[tuple[QueuedPaper, str]]:
    """Papers with the rack places of their bags; those of a job stand where the first of its bags does."""
    of_job: dict[int, Bag] = {}
    bags = Bag.objects.filter(depot=depot, job__in={one.job_id for one in papers if not one.bag_id})
    for bag in sorted(bags.select_related("job"), key=rack_order):
        of_job.setdefault(bag.job_id, bag)
    placed = [(one, one.bag or of_job.get(one.job_id)) for one in papers]
    placed.sort(key=lambda pair: (pair[1] is None, rack_order(pair[1]) if pair[1] else ()))
    return [(one, rack_of(bag) if bag else "") for one, bag in placed]


def _kind(asked: Asked, document: str, papers: Sequence[QueuedPaper], racks: Mapping[int, str]) -> Mapping[str, object]:
    rows = [
        [racks[one.pk] or "no place yet",
         link(one.bag, "bag", label_code(one.bag)) if one.bag else link(one.job.job, "job", one.job.job, note=one.name),
         _state(asked, one)]
        for one in papers
    ]  # fmt: skip
    caption = f"{QUEUED[document]}: {len(papers)}"
    return {
        "document": document, "label": QUEUED[document], "name": QUEUED[document].lower(),
        "is_label": document == BAG_LABEL,
        "has_file": any(one.printing for one in papers), "table": Table(caption, ("Rack", "Of", "State"), rows, ""),
    }  # fmt: skip


def _state(asked: Asked, one: QueuedPaper) -> Cell:
    told = f"asked for by {one.asked_by}"
    if one.printing is None:
        return Cell("waits", note=told)
    again = f", REPRINT {one.printing.number}" if one.printing.number else ""
    return Cell(f"file made {one.printing.at.astimezone(asked.zone):%Y-%m-%d %H:%M}{again}", note=told)


def _changed(asked: Asked, depot: Depot) -> HttpResponse:
    address = reverse("print-queue", args=[depot.depot])
    act, document = asked.text("act"), asked.text("document")
    try:
        day = day_of(asked, "day")
        if act == "file":
            return _file(asked, depot, day, document)
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, address)

    def deed() -> tuple[str, str]:
        if act in QUEUE_ENDS:
            number = end_papers(depot=depot, day=day, document=document, how=act, actor=asked.actor, at=asked.at)
            return act.upper(), f"{number} {QUEUED.get(document, document).lower()} of {day}."
        wanted = _wanted(asked, depot, day)
        number = queue_papers(depot=depot, day=day, papers=wanted, actor=asked.actor, at=asked.at)
        return "IN THE QUEUE", f"{_papers(number)} of {day}; {len(wanted) - number} waited already."

    return attempt(asked, deed, address)


def put_in_queue(asked: Asked) -> HttpResponse:
    """Let papers of a bag, of a job, or a pick list wait at their depots for the day of the outage, by one tap."""
    back = reverse("papers")
    if asked.text("bag"):
        back = reverse("bag", args=[label_code(bag_by_code(asked.text("bag")))])
    elif asked.text("job"):
        back = reverse("job-bags", args=[job_by_number(asked.text("job")).job])

    def deed() -> tuple[str, str]:
        wanted = _wanted_of(asked)
        if not wanted:
            none = f"the plan applied last has no pick list of it. {NO_PAPERS}"
            none = none if PICK_LIST in _kinds(asked) else "none of what was asked for is there to wait."
            raise Refusal("no-papers", f"NO PAPER: {none}", {})
        outage = wanted[0][1].job.cutover
        day = max(date.fromisoformat(outage[:10]), asked.today) if outage else asked.today
        told = []
        for depot in sorted({depot for depot, _ in wanted}):
            papers = [one for at, one in wanted if at == depot]
            at = depot_named(depot)
            number = queue_papers(depot=at, day=day, papers=papers, actor=asked.actor, at=asked.at)
            told.append(f"{_papers(number)} of {day} at {depot}, {len(papers) - number} waited already")
        return "IN THE QUEUE", f"{'; '.join(told)}."

    return attempt(asked, deed, back)


def _papers(number: int) -> str:
    return f"{number} paper{'s' * (number != 1)}"


def _wanted_of(asked: Asked) -> list[tuple[str, WantedPaper]]:
    """The papers that one tap asks for, each with the depot where it is to wait."""
    kinds = _kinds(asked)
    found: list[tuple[str, WantedPaper]] = []
    names = [asked.text("name")] if asked.text("name") else []
    if asked.text("bag"):
        bag = bag_by_code(asked.text("bag"))
        found = [(bag.depot.depot, WantedPaper(kind, bag.job, bag)) for kind in kinds if kind in BAG_PAPERS]
    elif asked.text("job"):
        job = job_by_number(asked.text("job"))
        bags = Bag.objects.filter(job=job, state__in=LABELLED).select_related("job", "depot")
        of_bags = [kind for kind in kinds if kind in BAG_PAPERS]
        found = [(bag.depot.depot, WantedPaper(kind, job, bag)) for kind in of_bags for bag in bags]
        found += [(job.depot, WantedPaper(kind, job)) for kind in kinds if kind in SLIPS]
        names = _names_of(job.job) if PICK_LIST in kinds else []
    for number, depot, name in _pick_lists(names):
        found.append((depot, WantedPaper(PICK_LIST, job_by_number(number), name=name)))
    return found


def _kinds(asked: Asked) -> list[str]:
    return [kind for kind in asked.request.POST.getlist("papers") if kind in QUEUED]


def _wanted(asked: Asked, depot: Depot, day: date) -> list[WantedPaper]:
    """The chosen papers of all bags of a day."""
    kinds = _kinds(asked)
    of = asked.text("of") if asked.text("of") in DAYS else CUTOVER
    bags = [one.bag for one in labels_of_day(depot=depot.depot, day=day, of=of)]
    jobs = {bag.job.job: bag.job for bag in bags}
    found = [WantedPaper(kind, bag.job, bag) for kind in kinds if kind in BAG_PAPERS for bag in bags]
    found += [WantedPaper(kind, job) for kind in kinds if kind in SLIPS for job in jobs.values()]
    if PICK_LIST in kinds:
        picks = _pick_lists([name for job in jobs for name in _names_of(job)])
        found += [WantedPaper(PICK_LIST, jobs[job], name=name) for job, at, name in picks if at == depot.depot]
    if not found:
        message = f"NO PAPER: choose which papers of the bags of {day} ({of}) at {depot.depot} are to wait."
        raise Refusal("no-papers", message, {"day": day})
    return found


def _names_of(job: str) -> list[str]:
    """The files of the plan applied last that may be pick lists of a job."""
    kept = kept_papers()
    names = packed_names(bytes(kept.kept)) if kept else []
    return [name for name in names if name.startswith(f"{job}{PICKS}") and name.endswith(".pdf")]


def _pick_lists(names: Sequence[str]) -> Iterator[tuple[str, str, str]]:
    """Those of these files that are pick lists of the plan applied last: job, depot and name."""
    kept = kept_papers() if names else None
    plan = plan_of(kept) if kept else None
    for name in names:
        pick = pick_list_of(plan, name) if plan else None
        if pick:
            yield pick.paper.answer.job, pick.depot, name


def _file(asked: Asked, depot: Depot, day: date, document: str) -> HttpResponse:
    """All waiting papers of a kind and day in one file; they wait on until somebody says that they are on paper."""
    papers = [one for one in _waiting(depot) if (one.day, one.document) == (day, document)]
    papers = [one for one, _ in _in_rack_order(depot, papers)]
    if not papers:
        raise Refusal(
            "nothing-waits", f"NOTHING WAITS: no {document.replace('-', ' ') or 'paper'} of {day} at {depot.depot}.", {}
        )
    stem = f"{depot.depot}-{day}-{document.replace(' ', '-')}"
    if document == BAG_LABEL:
        return labels_response(asked, stem, _bag_labels(asked, papers, f"Bag labels {depot.depot} {day}"))
    drawn = _of_bags(asked, papers) if document in BAG_PAPERS else _of_jobs(asked, papers)
    return file_response(f"{stem}.pdf", joined([*drawn]))


def _labels(papers: Sequence[QueuedPaper]) -> Mapping[int, DayLabel]:
    return {one.bag.pk: one for one in labels_of_bags(Bag.objects.filter(pk__in=[one.bag_id for one in papers]))}


def _bag_labels(asked: Asked, papers: Sequence[QueuedPaper], title: str) -> bytes:
    labels = [*_labels(papers).values()]
    paper_of = {one.bag_id: one for one in papers}
    prints = {str(one.bag): _print_of(asked, paper_of[one.bag.pk], str(one.bag), one.content) for one in labels}
    return day_labels_pdf(labels, prints, title=title, today=asked.today, sheets=asked.text("on") == "sheets")


def _of_bags(asked: Asked, papers: Sequence[QueuedPaper]) -> Iterator[bytes]:
    labels = _labels(papers)
    records = papers_of([*labels.values()], asked.today)
    for one in papers:
        label = labels[one.bag_id or 0]
        content, place = LabelPapers(label.content, records), label.bag.structure
        about = _print_of(asked, one, str(label.bag), contents_to_print(one.document, content)[place])
        yield BAG_PAPERS[one.document](content, {place: about})


def _of_jobs(asked: Asked, papers: Sequence[QueuedPaper]) -> Iterator[bytes]:
    kept = kept_papers() if papers[0].document == PICK_LIST else None
    plan = plan_of(kept) if kept else None
    for one in papers:
        if one.document != PICK_LIST:
            content = SLIPS[one.document].content(bag_papers(one.job.job, names_as_read_by(asked.actor)))
            yield SLIPS[one.document].as_pdf(content, _print_of(asked, one, one.job.job, content))
            continue
        pick = pick_list_of(plan, one.name) if plan else None
        if plan is None or pick is None:
            message = (
                f"The plan applied last has no {one.name}: take the pick lists off, and put in those of that plan."
            )
            raise Refusal("unknown-paper", message, {"name": one.name})
        about = _print_of(asked, one, about_pick(pick), None, pick.paper.revision)
        yield print_document(plan, one.name, about)


def _print_of(asked: Asked, paper: QueuedPaper, subject: str, content: object, revision: str = "") -> Printed:
    """What a paper says about its printing: the same as before, if its file was made and nothing on it has changed."""
    revision = revision or content_revision(content)
    if paper.printing and paper.printing.revision == revision:
        return printed_as(asked, paper.printing.number, revision)
    about = printed(asked, paper.document, subject, content, revision)
    link_print(paper=paper, subject=subject, revision=revision, number=about.reprint)
    return about
