"""Pins: a planner's decision, with a reason, that a line takes one stock code, or the very pieces."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from kitting.calculation.expansion.lines import Lines, line_texts
from kitting.calculation.expansion.scene import Scene
from kitting.calculation.expansion.slots import Template
from kitting.calculation.questions import NOTE, Question
from kitting.calculation.records import Fact, records

_GONE = -1


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin that found its line: its row, place of the line in ``Lines``, and the pieces it holds in thousandths."""

    row: int
    source: int
    stock_code: str
    lot: str
    depot: str
    quantity: int


def apply_pins(scene: Scene) -> tuple[tuple[Pin, ...], tuple[Question, ...]]:
    """Give pinned lines their stock code; a complete set takes the place of what it holds at that end.

    Returns the pins that hold, and a note for each pin that names no line.
    """
    pins: list[Pin] = []
    notes: list[Question] = []
    by_job: dict[str, dict[str, int]] = {}
    for record in records(scene.book, "pins"):
        job, code = record["job"], record["stock_code"]
        if job not in by_job:
            by_job[job] = _names(scene.lines, job)
        source = by_job[job].get(record["line"])
        if source is None or not isinstance(code, str):
            notes.append(_unfound(record))
            continue
        _pin_line(scene, source, code, f"pinned by {record['by']}: {record['reason']}")
        pins.append(Pin(record["row"], source, code, record["lot"] or "", record["depot"] or "", record["quantity"]))
    return _without_gone(scene.lines, pins), tuple(notes)


def _names(lines: Lines, job: str) -> dict[str, int]:
    """Name of each line of a job -> its place in ``Lines``."""
    places = [place for place, owner in enumerate(lines.owner_of) if lines.owners[owner].job == job]
    frame = lines.only(places).frame()
    names = line_texts(frame, lines.templates)
    return {name: places[source] for name, source in zip(names, frame["source"].tolist(), strict=True)}


def _unfound(record: Mapping[str, Fact]) -> Question:
    problem = f"no line of {record['job']} has this name, so the pin holds nothing"
    suggestion = "copy the name of the line from requirements.csv"
    return Question("pins", record["row"], "line", str(record["line"]), problem, suggestion, NOTE)


def _pin_line(scene: Scene, source: int, code: str, words: str) -> None:
    lines = scene.lines
    wanted = lines.owners[lines.owner_of[source]][:-1]  # whatever row of its sheet it comes from
    places = [place for place, owner in enumerate(lines.owner_of) if lines.owners[owner][:-1] == wanted]
    group = [lines.templates[lines.template_of[place]] for place in places]
    here = places.index(source)
    chosen = scene.fitter.pinned(group[here], code)
    chosen = replace(chosen, sentence=f"{chosen.sentence}; {words}")
    group[here] = chosen
    kept: list[Template] = group
    if chosen.codes and scene.fitter.items[code]["contains"]:
        kept = scene.fitter.without_contents(group, chosen, code)
    by_order = {(template.kind, template.order, template.rule): template for template in kept}
    for place, template in zip(places, group, strict=True):
        left = by_order.get((template.kind, template.order, template.rule))
        lines.template_of[place] = _GONE if left is None else lines.keep([left])[0]


def _without_gone(lines: Lines, pins: list[Pin]) -> tuple[Pin, ...]:
    """Drop the lines that a complete set makes needless, and point the pins at the places that remain."""
    if not pins:
        return ()
    left = [place for place, number in enumerate(lines.template_of) if number != _GONE]
    moved = {place: number for number, place in enumerate(left)}
    kept = lines.only(left)
    lines.owner_of, lines.template_of = kept.owner_of, kept.template_of
    return tuple(replace(pin, source=moved[pin.source]) for pin in pins if pin.source in moved)
