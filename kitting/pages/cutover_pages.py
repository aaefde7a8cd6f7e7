"""Cutovers by week, a job as one page, and why a line is what it is."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Item
from jobs.models import Position
from kitting.calculation.answers import CANT_TELL, CONFLICT, NO_RULE, READY, READY_IF, SHORT, worst
from kitting.calculation.order_marks import OrderMark
from kitting.calculation.plan_result import REQUIREMENT_COLUMNS
from kitting.calculation.promising.moves import (
    BORROW,
    BUY,
    EXPEDITE,
    FROM_OTHERS,
    HURRY,
    RESERVE,
    SLIP,
    STAND_IN,
    SWAP,
    TRANSFER,
    TRUCK,
)
from kitting.pages.asked import Asked, page
from kitting.pages.bag_depot_pages import bags_of_job
from kitting.pages.drawing import fit, strip
from kitting.pages.job_state_pages import steps_of
from kitting.pages.picture_pages import places_pictured
from kitting.pages.short_line_pages import owner_cell, owner_choices
from kitting.pages.tables import MOST_ROWS, Cell, Table, figure, link, said
from kitting.pages.typed import typed_day
from kitting.roles import APPROVE, ASK, DO, SEE, who_may
from kitting.selectors.bag_contents import bare
from kitting.selectors.cutovers import Cutover, cutovers, last_order_days, last_plan
from kitting.selectors.fits import estimates_policy, fit_facts
from kitting.selectors.job_sheet import FROM, JobSheet, Line, RunSheet, job_by_number, job_sheet, line_of, promised_to
from kitting.selectors.pictures import positions_of
from kitting.selectors.short_lines import cares

_HEADS = ("Job", "Cutover", "Answer", "What limits it", "Staged by", "Last order day", "Bags", "Window")
WITH_KIT = "with the whole kit"  # a short line that nothing cures alone
_WEEKS_AHEAD = 12
_MEANING = {
    READY: "all promised from stock at its own depot, good through the cutover",
    READY_IF: "all promised, but a named transfer or order must arrive by the staged-by day",
    SHORT: "pieces can't be had in time",
    CANT_TELL: "a fact is missing, or only a gauge reading can decide",
    NO_RULE: "the rule book says nothing about this combination",
    CONFLICT: "two rows or two rules say different things",
}


def cutover_list(asked: Asked) -> HttpResponse:
    """The jobs ahead, a table a week: those of the next weeks, or from the week that is asked for."""
    weeks: dict[date | None, list[Cutover]] = defaultdict(list)
    for one in cutovers():
        weeks[one.week].append(one)
    ordered = sorted(weeks, key=lambda week: week or date.min)
    start = typed_day(asked.text("from"), "The week")
    ahead = [week for week in ordered if start is None or (week is not None and week >= start)]
    near = _near(ahead, weeks, None if start else asked.today + timedelta(weeks=_WEEKS_AHEAD))
    rest = ahead[len(near) :]
    marks = last_order_days(one.job.job for week in near for one in weeks[week])
    tables = [_week(week, weeks[week], marks, asked.today) for week in near]
    context = {
        "tables": tables, "plan": last_plan(), "meaning": _MEANING.items(), "start": start,
        "later": sum(len(weeks[week]) for week in rest), "next_week": next(iter(rest), None),
        "freeze": asked.text("day") or (asked.today + timedelta(days=1)).isoformat(),
        "may_plan": asked.actor.may("job dates", DO),
    }  # fmt: skip
    return page(asked, "cutovers.html", context)


def _near(
    ahead: Sequence[date | None], weeks: Mapping[date | None, Sequence[Cutover]], last: date | None
) -> list[date | None]:
    """The first weeks, not beyond the last one, with no more jobs than a list draws; one week at least."""
    found: list[date | None] = []
    jobs = 0
    for week in ahead:
        jobs += len(weeks[week])
        if found and (jobs > MOST_ROWS or (last is not None and week is not None and week > last)):
            break
        found.append(week)
    return found


def _week(monday: date | None, jobs: Sequence[Cutover], marks: Mapping[str, Sequence[OrderMark]], today: date) -> Table:
    if monday is None:
        caption = "No date: these jobs promise nothing until they have one"
    else:
        caption = f"Week {monday.isocalendar().week}: {monday} to {monday + timedelta(6)}"
    return Table(caption, _HEADS, [_row(one, marks.get(one.job.job, ()), today) for one in jobs], "")


def _row(one: Cutover, marks: Sequence[OrderMark], today: date) -> list[Cell]:
    stands = f"depot {one.job.depot}, {one.standing.state}{', ITS DAY HAS PASSED' * one.has_passed(today)}"
    limit = one.deciding_line if one.answer != READY else ""
    return [
        link(one.job.job, "job", one.job.job, note=one.job.title),
        Cell(one.job.cutover or "no date", note=stands),
        replace(said(one.answer), note=f"BEFORE {one.changed}: plan again" if one.changed else ""),
        _limit_cell(one.job.job, limit, one.lacks),
        Cell(one.staged_by or "–"),
        order_cell([mark.words for mark in marks]),
        Cell(one.bags_told),
        Cell(f"{one.window} h" if one.window is not None else "–", note=one.clock),
    ]


def _limit_cell(job: str, line: str, note: str) -> Cell:
    """The line that limits a job, which leads to why."""
    return link(line, "line", job, asking={"line": line}, note=note) if line else Cell("–", note=note)


def order_cell(marks: Sequence[str]) -> Cell:
    """The most urgent order-by mark of what is lacking, and the others below it."""
    return Cell(marks[0] if marks else "–", note="; ".join(marks[1:]))


def job_page(asked: Asked, job: str) -> HttpResponse:
    """All of a job: its runs as strips, its lines with their answers, what is short and what would cure it."""
    sheet = job_sheet(job)
    (state,) = cutovers([job], ended=True)
    limit = state.deciding_line if state.answer != READY else ""
    context = {
        "sheet": sheet,
        "state": state,
        "has_passed": state.has_passed(asked.today),
        "limit": _limit_cell(job, limit, "") if limit else None,
        "may_plan": asked.actor.may("job dates", DO),
        "strips": [_strip(run) for run in sheet.runs],
        "planned": bool(sheet.elsewhere) or any(end.lines for run in sheet.runs for end in run.ends),
        "elsewhere": [_end(name, "", lines) for name, lines in sheet.elsewhere.items()],
        "shortages": _shortages(asked, sheet),
        "owners": owner_choices(
            asked, jobs=[job] if sheet.shortages else [], lines=[row["line"] for row in sheet.shortages]
        ),
        "refusals": _refusals(sheet),
        "cures": _cures(asked, sheet),
        "meaning": _MEANING.get(state.answer, ""),
        "staged": bags_of_job(asked, sheet.job, state),
        "steps": steps_of(asked, sheet.job, state),
        "pictured": places_pictured(asked, job, positions_of(sheet.job)),
    }
    return page(asked, "job.html", context)


def _strip(one: RunSheet) -> Mapping[str, object]:
    here, there = one.ends
    picture = strip(
        str(here.position), str(there.position), one.cable,
        from_joint=_is_joint(here.position), to_joint=_is_joint(there.position), phases=one.run.phases,
    )  # fmt: skip
    ends = [
        _end(f"{'From' if end.side == FROM else 'To'} {end.position}", f"{end.position.kind}, ", end.lines)
        for end in one.ends
    ]
    return {"run": one.run, "cable": one.cable, "picture": picture, "ends": ends}


def _end(name: str, kind: str, lines: Sequence[Line]) -> Mapping[str, object]:
    """Lines that belong together under their worst answer, if they have any; open where that is not ready."""
    answers = {line["answer"] for line in lines} - {""}
    answer = worst(answers) if answers else ""
    entries = list(map(_entry, lines))
    return {"name": name, "kind": kind, "lines": entries, "answer": answer, "open": bool(answers) and answer != READY}


def _is_joint(position: Position) -> bool:
    return position.kind == "joint"


def _entry(line: Line) -> Mapping[str, str]:
    amount = f"{line['quantity']} {line['unit']}".strip()
    what = f"{line['kind']} {line['stock_code']}".strip()
    return {"what": what, "amount": amount, "answer": line["answer"], "why": why_address(line)}


def why_address(line: Line) -> str:
    """The page that says why a line is what it is."""
    return f"{reverse('line', args=[line['job']])}?{urlencode({'line': line['line']})}"


def why_cell(text: str, line: Line, note: str = "") -> Cell:
    """A cell that leads there."""
    return link(text, "line", line["job"], note=note, asking={"line": line["line"]})


def _shortages(asked: Asked, sheet: JobSheet) -> Table:
    cared = cares([row["line"] for row in sheet.shortages])
    rows = [
        [
            why_cell(row["kind"], row, note=row["line"]),
            Cell(row["stock_code"]),
            figure(row["short"], note=f"{row['have']} of {row['need']}{_elsewhere(row, sheet)}"),
            Cell(row["why"]),
            Cell(row["order_by"] or "–", note="TOO LATE TO BUY" if row["too_late"] == "yes" else ""),
            Cell(WITH_KIT, "#cures") if row["line"] in sheet.with_kit else Cell(row["cure"] or "none found"),
            owner_cell(asked, cared[row["line"]]),
        ]
        for row in sheet.shortages
    ]
    heads = ("What", "Stock code", "Short", "Why", "Order by", "What would cure it", "Who sees to it")
    return Table("Shortages", heads, rows, "Nothing is short by the plan applied last.")


def _elsewhere(row: Line, sheet: JobSheet) -> str:
    return f" at {row['depot']}" if row["depot"] != sheet.job.depot else ""


def _refusals(sheet: JobSheet) -> Table:
    rows = [
        [row["stock_codes"], figure(row["stock_pieces"]), row["competing_jobs"] or "none",
         figure(row["competing_pieces"]), figure(row["missing_pieces"]),
         row["first_date"] or "none known"]
        for row in sheet.refusals
    ]  # fmt: skip
    heads = ("Stock codes", "They hold in time", "Earlier kits", "Those hold", "Missing", "First day it would fit")
    return Table("Why this kit is refused", heads, rows, "This kit is not refused.")


# Where each kind of move is made or asked for, and the right that it needs: action, levels of which one.
_DOORS: Mapping[str, tuple[str, str, tuple[str, ...]]] = {
    BUY: ("Buy", "buying", ("order sheet", SEE)),
    EXPEDITE: ("Buy", "buying", ("order sheet", SEE)),
    TRANSFER: ("Bring", "transfers", ("warehouse", SEE)),
    TRUCK: ("Look at the trucks", "trucks", ("truck stock", SEE)),
    HURRY: ("Ask for a sooner day", "orders", ("order sheet", SEE)),
    STAND_IN: ("Ask for it", "ask-stand-in", ("stand-in", ASK, APPROVE)),
    RESERVE: ("Ask for it", "ask-reserve", ("reserve", ASK, APPROVE)),
    BORROW: ("Look at the bags", "bags", ("bags", SEE)),
}


def _cures(asked: Asked, sheet: JobSheet) -> Table:
    short_of = _short_line_of(sheet)
    rows = [
        [row["cure"], Cell(row["move"], note="NEEDS REOPENING" if row["move"] == BORROW else ""),
         Cell(row["stock_code"] or "–", note=f"lot {row['lot']}" if row.get("lot") else ""),
         figure(row["quantity"] or "–"),
         Cell(row["from"] or "–", note=f"held by {row['holder']}" if row.get("holder") else ""), row["by_day"] or "–",
         Cell(row["breaks"] or "nothing", note=f"instead {row['instead']}" if row.get("instead") else ""),
         row["verified"], _door(asked, sheet, row, short_of(row["stock_code"]))]
        for row in sheet.cures
    ]  # fmt: skip
    heads = ("Cure", "Move", "Stock code", "Pieces", "From", "By", "What it breaks", "Tried by planning again", "Do it")
    return Table("Sets of moves that would complete this kit", heads, rows, "No cure was looked for: nothing is short.")


def _short_line_of(sheet: JobSheet) -> Callable[[str], str]:
    """The first short line of a stock code, else of its kind, which it may stand in for; '' where there is none."""
    by_code = {row["stock_code"]: row["line"] for row in reversed(sheet.shortages)}
    by_kind = {row["kind"]: row["line"] for row in reversed(sheet.shortages)}
    others = {row["stock_code"] for row in sheet.cures} - by_code.keys() - {""}
    kinds = dict(Item.objects.filter(stock_code__in=others).values_list("stock_code", "kind")) if others else {}
    return lambda code: by_code.get(code) or by_kind.get(kinds.get(code, ""), "")


def _door(asked: Asked, sheet: JobSheet, row: Line, line: str) -> Cell:
    """Where the move of a cure is made or asked for, with what is known filled in; for others only who does it."""
    if row["move"] == SLIP and asked.actor.may("job dates", DO):
        return Cell("What would change?", f"{reverse('move', args=[sheet.job.job])}?{urlencode({'to': row['by_day']})}")
    if row["move"] in FROM_OTHERS and asked.actor.may("job dates", DO):
        known = {"change": SWAP, "job": sheet.job.job, "cure": row["cure"]}
        return Cell("What would change?", f"{reverse('what-if')}?{urlencode(known)}")
    label, route, (action, *levels) = _DOORS.get(row["move"], ("", "", ("job dates",)))
    if not any(asked.actor.may(action, level) for level in levels):
        return Cell(f"by {' or '.join(who_may(action, *levels))}" if levels else "–")
    known = {"line": line, "stock_code": row["stock_code"], "stand_in": row["stock_code"], "depot": row["from"]}
    return Cell(label, f"{reverse(route)}?{urlencode({name: text for name, text in known.items() if text})}")


def line_page(asked: Asked, job: str) -> HttpResponse:
    """Why a line is what it is: its sentence, rule and facts, the fit as a picture, and the pieces promised."""
    line, ended = line_of(job, asked.text("line")), job_by_number(job).ended
    estimates = estimates_policy()
    fits = [
        fit(one.part, one.band, over_what=one.over_what, estimates=estimates)
        for one in fit_facts([line]).get(line["line"], ())
    ]
    facts = [(name.replace("_", " "), line[name]) for name in _facts_of(line) if line[name] and name not in _TOLD]
    asks = [
        (label, f"{reverse(route)}?{urlencode({'line': line['line']})}")
        for label, route, action in (
            ("Ask for a stand-in", "ask-stand-in", "stand-in"),
            ("Ask for pieces of the reserve", "ask-reserve", "reserve"),
        )
        if line["stock_code"] and any(asked.actor.may(action, level) for level in (ASK, APPROVE))
    ]
    if asked.actor.may("job dates", DO):
        asks.append(("Pin pieces to it", f"{reverse('pin', args=[job])}?{urlencode({'line': line['line']})}"))
    context = {
        "line": line, "fits": fits, "facts": facts, "promised": _promised(job, line), "sentences": _split(line),
        "asks": () if ended else asks, "ended": ended,
    }  # fmt: skip
    return page(asked, "line.html", context)


def _facts_of(line: Line) -> Iterable[str]:
    """The names of a line's facts as its table has them, whatever order the books kept them in."""
    return (*(name for name in REQUIREMENT_COLUMNS if name in line), *sorted({*line} - {*REQUIREMENT_COLUMNS}))


_TOLD = ("reason", "answer", "kind", "stock_code", "line", "job", "quantity", "unit")


def _split(line: Line) -> list[str]:
    return [part.strip() for part in line["reason"].split(";") if part.strip()]


def _promised(job: str, line: Line) -> Table:
    rows = [
        [one.item.stock_code, one.lot.number or "lot unknown" if one.lot else "–",
         Cell(one.place or one.order_line, note=f"by {one.source}"), figure(bare(one.quantity)),
         one.ready_on]
        for one in promised_to(job, line["line"])
    ]  # fmt: skip
    heads = ("Stock code", "Lot", "Where", "Pieces", "There on")
    return Table("Pieces promised", heads, rows, "No piece is promised to this line: it is short, undecided or picked.")
