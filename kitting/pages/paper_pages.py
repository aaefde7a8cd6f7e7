"""Papers: those of the plan applied last, the Friday page, the call sheet, and the slips of a job's bags."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.urls import reverse

from jobs.models import Run
from kitting.calculation.answers import READY, READY_IF, SHORT
from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.calculation.plan_result import Plan
from kitting.documents import pick_list_of, print_document
from kitting.documents.as_installed import as_installed_csv, as_installed_record
from kitting.documents.bag_records import BagPapers, bag_papers
from kitting.documents.borrow_note import borrow_note
from kitting.documents.friday_page import FridayJob, friday_page
from kitting.documents.label_pictures import DOTS_PER_INCH, label_pictures, packed_pictures
from kitting.documents.label_records import BAG_PAPERS, LABELS, ON_SHEETS, contents_to_print, label_papers
from kitting.documents.pick_list import PickList
from kitting.documents.record_papers import Printed, content_revision, moment_text
from kitting.documents.slip_rolls import issue_slip_roll, return_slip_roll
from kitting.documents.slips import issue_slip, return_slip, return_slip_csv
from kitting.errands.keeping import packed_names, unpacked_file
from kitting.errands.planning import APPLY, PLAN_FILE, kept_plan
from kitting.errors import Refusal
from kitting.models import Errand
from kitting.pages.asked import Asked, go_to, page, refused
from kitting.pages.tables import MOST_ROWS, Table, link
from kitting.roles import SEE
from kitting.selectors.bag_contents import bag_by_code
from kitting.selectors.cutovers import Cutover, cutovers, last_plan
from kitting.selectors.job_sheet import job_sheet
from kitting.selectors.pictures import pictures_at
from kitting.selectors.policies import paper_choices
from kitting.selectors.printed_papers import PICK_LIST
from kitting.selectors.sight import names_as_read_by
from kitting.services.note_printing import note_file, note_printing

_TYPES = {"pdf": "application/pdf", "png": "image/png", "zip": "application/zip", "csv": "text/csv; charset=utf-8",
          "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}  # fmt: skip
PICKS = "-pick-list-"  # in the name of a pick list of the plan
FRIDAY_JOBS = 20  # two pages
NO_PAPERS = "They are made when a plan is applied on these pages: plan again, look at it and apply it."


def file_response(name: str, content: bytes) -> HttpResponse:
    """A file to keep or print."""
    response = HttpResponse(content, content_type=_TYPES[name.rpartition(".")[2]])
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def printed(asked: Asked, document: str, subject: str, content: object, revision: str = "") -> Printed:
    """What a paper says about its printing; the print is noted, and a second one of the same revision is a reprint.

    The revision is made from the content where that has none of its own.
    """
    revision = revision or content_revision(content)
    number = note_printing(
        document=document, subject=subject, revision=revision, actor=asked.actor, at=asked.at,
        action=_action_of(asked, document, subject, revision),
    )  # fmt: skip
    return printed_as(asked, number, revision)


def _action_of(asked: Asked, *paper: str) -> str:
    """The number of the action of one paper, for one form may print several."""
    return f"{asked.action}/{content_revision(paper)}"


def printed_as(asked: Asked, number: int, revision: str) -> Printed:
    """What a paper says about a print that is noted under this number."""
    now, (kind, wording, demo) = asked.at.astimezone(asked.zone), paper_choices()
    return Printed(moment_text(now), now, asked.actor.name, number, revision, kind, wording, demo)


def exported(asked: Asked, name: str, document: str, subject: str, content: bytes) -> HttpResponse:
    """A file that leaves the books: who took it, and the digest that proves what it said, are noted as a print is."""
    document, revision = f"{document} as {name.rpartition('.')[2]}", content_revision(content)
    note_printing(
        document=document, subject=subject, revision=revision, digest=hashlib.sha256(content).hexdigest(),
        actor=asked.actor, at=asked.at, action=_action_of(asked, document, subject, revision),
    )  # fmt: skip
    return file_response(name, content)


def proven(asked: Asked, name: str, document: str, subject: str, about: Printed, content: bytes) -> HttpResponse:
    """A file of a print that is noted: the digest over all of it is noted as well, so that it can be proved."""
    digest = hashlib.sha256(content).hexdigest()
    note_file(
        document=document, subject=subject, revision=about.revision, digest=digest, by=asked.actor.name, at=asked.at
    )
    return file_response(name, content)


def kept_papers() -> Errand | None:
    """The errand that keeps the papers of the plan applied last; None where nobody made them."""
    found, plan = Errand.objects.filter(kind=APPLY, state="done").exclude(kept=b"").order_by("-pk").first(), last_plan()
    return found if found and plan and found.result.get("plan") == plan.pk else None


def papers(asked: Asked) -> HttpResponse:
    """The papers of the plan applied last; print one of them."""
    kept, job = kept_papers(), asked.text("job")
    if asked.request.method == "POST":
        return _print(asked, kept, asked.text("name"))
    names = packed_names(bytes(kept.kept)) if kept else []
    names = [name for name in names if name != PLAN_FILE and _may_see(asked, name) and name.startswith(job)]
    sheets = [name for name in names if name.endswith(".pdf")]
    shown = sheets[:MOST_ROWS]
    rows = [[link(name, "paper", name)] for name in names if not name.endswith(".pdf")]
    none = f"The plan applied last has no {'table' if sheets else 'paper'} whose name begins with {job}."
    table = Table("Tables of the plan applied last", ("File",), rows, none if kept and job else NO_PAPERS)
    context = {"table": table, "sheets": shown, "more": len(sheets) - len(shown), "job": job,
               "picks": [name for name in shown if PICKS in name]}  # fmt: skip
    return page(asked, "papers.html", context)


def _may_see(asked: Asked, name: str) -> bool:
    """The reorder sheet shows prices, which are not for everybody."""
    return not name.startswith("reorder-sheet") or asked.actor.may("prices", SEE)


def _content(kept: Errand | None, name: str) -> bytes:
    """A kept file.

    Raises:
        Refusal: ``unknown-paper``.
    """
    try:
        content = unpacked_file(bytes(kept.kept), name) if kept and name != PLAN_FILE else b""
    except KeyError:
        content = b""
    if not content:
        raise Refusal("unknown-paper", f"The plan applied last has no paper {name}.", {})
    return content


def paper(asked: Asked, name: str) -> HttpResponse:
    """A table of the plan applied last; its papers are printed by a form, so that each print is noted."""
    if not _may_see(asked, name):
        return page(asked, "refused.html", {"sentence": "This paper shows prices.", "back": reverse("papers")}, 403)
    content = _content(kept_papers(), name)
    return go_to(reverse("papers")) if name.endswith(".pdf") else exported(asked, name, "plan table", name, content)


def _print(asked: Asked, kept: Errand | None, name: str) -> HttpResponse:
    """One of the papers for whoever prints it now; another print of the same says REPRINT."""
    if not _may_see(asked, name):
        return page(asked, "refused.html", {"sentence": "This paper shows prices.", "back": reverse("papers")}, 403)
    if kept is None:  # the page was opened before another plan was applied
        return refused(asked, Refusal("no-papers", f"No papers of the plan applied last. {NO_PAPERS}", {}),
                       reverse("papers"))  # fmt: skip
    content, plan = _content(kept, name), plan_of(kept)
    pick = pick_list_of(plan, name)
    kind, about, revision = "plan paper", name, ""
    if pick:  # the number on it, scanned, says whether it was printed again since
        kind, about, revision = PICK_LIST, about_pick(pick), pick.paper.revision
    return file_response(name, print_document(plan, name, printed(asked, kind, about, content, revision)))


def plan_of(kept: Errand) -> Plan:
    """The plan whose papers an errand keeps.

    Raises:
        Refusal: ``no-plan-kept``.
    """
    try:
        return kept_plan(kept)
    except KeyError:
        raise Refusal("no-plan-kept", "These papers are of an earlier version: plan again and apply.", {}) from None


def about_pick(pick: PickList) -> str:
    """What a pick list is about, as its prints are noted."""
    return f"{pick.paper.answer.job} at {' for '.join(pick.name)}"


def friday(asked: Asked) -> HttpResponse:
    """The jobs ahead, ten on a page, as PDF; those without a date last."""
    states = sorted(cutovers(), key=lambda one: not one.job.cutover)
    jobs = tuple(
        FridayJob(
            one.job.job, one.job.title, one.job.cutover or "no date", one.answer,
            _limit(one), one.bags_done, one.bags_in_all,
            one.job.owner,
        )
        for one in states[:FRIDAY_JOBS]
    )  # fmt: skip
    about = printed(asked, "friday-page", asked.today.isoformat(), (jobs, len(states)))
    content = friday_page(jobs, asked.today.isoformat(), about, ahead=len(states))
    return file_response("friday-page.pdf", content)


def _limit(one: Cutover) -> str:
    """What keeps a job from going out: what came after the plan, bags on hold, its deciding line, what it lacks."""
    held = f"{one.bags_held} bag{'' if one.bags_held == 1 else 's'} on hold" if one.bags_held else ""
    changed = f"BEFORE {one.changed}: plan again" if one.changed else ""
    return "; ".join(filter(None, (changed, held, one.deciding_line if one.answer != READY else "", one.lacks)))


_SPARE_IS = {SHORT: " (SHORT)", READY_IF: " (must still come)"}


def call_sheet(asked: Asked, job: str) -> HttpResponse:
    """What to ask the crew lead three days before, with what the books know beside each question; to print."""
    sheet = job_sheet(job)
    (state,) = cutovers([job], ended=True)
    runs = [one.run for one in sheet.runs]
    spares = [
        f"{line['quantity']} {line['stock_code']}{_SPARE_IS.get(line['answer'], '')}"
        for line in sheet.elsewhere.get("Spares", ())
    ]
    questions = [
        ("Have the reel tags been read against the bag labels?", _reels(runs)),
        ("Is there a photograph of each nameplate that tells the interface?", _interfaces(runs)),
        ("Who opens the gates and covers, and is there an attendant for each vault?", _structures(runs)),
        ("Are the spares enough for this outage?", ", ".join(spares) or "no spares are planned"),
        ("Who signs for the bags, and with which truck?", f"bags: {state.bags_told}"),
    ]
    open_ = [f"{one['answer'].upper()}: {one['line']}: {one['reason']}" for one in sheet.undecided]
    open_ += [
        f"{'SPARE: ' * one['line'].endswith(SPARE_ENDING)}{one['short']} {one['stock_code']}: {one['why']}"
        for one in sheet.shortages
    ]
    return page(asked, "call_sheet.html", {"sheet": sheet, "state": state, "questions": questions, "open": open_})


def _reels(runs: list[Run]) -> str:
    return "; ".join(f"run {run.run}: {run.reels or 'no reel named'}" for run in runs)


def _interfaces(runs: list[Run]) -> str:
    ends = {
        (end.structure.structure, end.position): end.interface or "not known"
        for run in runs for end in (run.from_position, run.to_position)
    }  # fmt: skip
    pictures = pictures_at(ends)
    return "; ".join(
        f"{'/'.join(place)}: {interface}, {_how_many(len(pictures.get(place, ())))}"
        for place, interface in ends.items()
    )


def _how_many(pictures: int) -> str:
    return f"{pictures} picture{'s' * (pictures > 1)} kept" if pictures else "no picture kept"


def _structures(runs: list[Run]) -> str:
    ends = (end for run in runs for end in (run.from_position, run.to_position))
    return ", ".join(dict.fromkeys(end.structure.structure for end in ends))


@dataclass(frozen=True, slots=True)
class _Slip:
    """A paper of a job's bags: what of them it holds, and how it is written."""

    content: Callable[[BagPapers], Any]
    as_pdf: Callable[[Any, Printed], bytes]
    as_csv: Callable[[Any], bytes] | None = None


_BORROW_NOTE = "borrow-note"
_ON_A_ROLL = "-roll"  # the same paper in another form: its prints are counted with those on sheets
SLIPS: Mapping[str, _Slip] = {
    "issue-slip": _Slip(lambda all_: all_.issue, issue_slip),
    f"issue-slip{_ON_A_ROLL}": _Slip(lambda all_: all_.issue, issue_slip_roll),
    "return-slip": _Slip(lambda all_: all_.returned, return_slip, return_slip_csv),
    f"return-slip{_ON_A_ROLL}": _Slip(lambda all_: all_.returned, return_slip_roll),
    _BORROW_NOTE: _Slip(lambda all_: all_.borrowed, borrow_note),
    "as-installed": _Slip(lambda all_: all_.installed, as_installed_record, as_installed_csv),
}


def job_papers(asked: Asked, job: str, name: str) -> HttpResponse:
    """Print the labels, inner labels or night cards of a job's bags as they are now."""
    if asked.request.method != "POST":  # looking at an address prints nothing
        return go_to(reverse("job-bags", args=[job]))
    return _label_papers(asked, name, job, None)


def bag_paper(asked: Asked, code: str, name: str) -> HttpResponse:
    """Print the label, inner labels or night card of one bag as it is now."""
    bag = bag_by_code(code)
    if asked.request.method != "POST":
        return go_to(reverse("bag", args=[code]))
    return _label_papers(asked, name, bag.job.job, bag.structure)


def _label_papers(asked: Asked, name: str, job: str, structure: str | None) -> HttpResponse:
    as_pdf = (ON_SHEETS if asked.text("on") == "sheets" else BAG_PAPERS).get(name)
    if as_pdf is None or (dots_asked(asked) and name not in LABELS):
        raise Refusal("unknown-paper", f"There is no paper {name} in this form.", {})
    labels = label_papers(job, today=asked.today, structure=structure)
    subject = job if structure is None else f"{job} {structure}".strip()
    prints = {
        place: printed(asked, name, f"{job} {place}".strip(), content)
        for place, content in contents_to_print(name, labels).items()
    }
    return labels_response(asked, f"{subject.replace(' ', '-')}-{name}", as_pdf(labels, prints))


def dots_asked(asked: Asked) -> int:
    """Dots in an inch of the label printer that the form names; 0 where it asks for a PDF."""
    return next((dots for dots in DOTS_PER_INCH if asked.text("on") == str(dots)), 0)


def labels_response(asked: Asked, stem: str, pdf: bytes) -> HttpResponse:
    """Labels as PDF, or for a label printer as a picture; the pictures of several labels are packed in one file."""
    dots = dots_asked(asked)
    if not dots:
        return file_response(f"{stem}.pdf", pdf)
    pictures = label_pictures(pdf, dots=dots)
    if len(pictures) == 1:
        return file_response(f"{stem}.png", pictures[0])
    return file_response(f"{stem}.zip", packed_pictures(stem, pictures))


def slip(asked: Asked, job: str, name: str) -> HttpResponse:
    """Print a slip of a job's bags, or a borrow note; a second print of the same says REPRINT."""
    stem, _, ending = name.rpartition(".")
    one = SLIPS.get(_BORROW_NOTE if stem.startswith(_BORROW_NOTE) else stem)
    if one is None or ending not in ("pdf", "csv") or (ending == "csv" and one.as_csv is None):
        raise Refusal("unknown-paper", f"There is no paper {name}.", {})
    content, subject = one.content(bag_papers(job, names_as_read_by(asked.actor))), job
    if stem.startswith(_BORROW_NOTE):
        content = next((note for note in content if stem == f"{_BORROW_NOTE}-{note.number}"), None)
        if content is None:
            raise Refusal("unknown-paper", f"{job} has no {stem}.", {})
        subject = content.from_bag
    if ending == "csv" and one.as_csv is not None:
        return exported(asked, f"{job}-{name}", stem, subject, one.as_csv(content))
    if asked.request.method != "POST":
        return go_to(reverse("job-bags", args=[job]))
    about = printed(asked, stem.removesuffix(_ON_A_ROLL), subject, content)
    return file_response(f"{job}-{name}", one.as_pdf(content, about))
