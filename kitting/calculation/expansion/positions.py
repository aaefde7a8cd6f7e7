"""Lines of equipment positions: inserts, caps, arresters, plugs. They belong to the position, not to a cable."""

from collections.abc import Sequence
from dataclasses import replace

from kitting.calculation.expansion.cables import Cable
from kitting.calculation.expansion.demands import need_of
from kitting.calculation.expansion.landings import Position
from kitting.calculation.expansion.lines import SIDE_POSITION
from kitting.calculation.expansion.scene import Scene, cables_by_phase, place_facts
from kitting.calculation.expansion.settings import Setting, blank
from kitting.calculation.expansion.slots import Template, template_of, undecided_templates

TABLE = "position accessories"


def add_position_lines(scene: Scene) -> None:
    """One owner for each position and each group of phases with an equal number of cables."""
    for position in scene.field.positions.values():
        if position.facts["kind"] == "joint" or not position.job:
            continue
        setting = scene.setting(position)
        structure, number = position.key
        for first, (phases, cables) in enumerate(_groups(scene, position)):
            numbers = _templates(scene, position, setting, phases=phases, cables=cables, first=not first)
            scene.lines.add(
                numbers,
                job=position.job,
                side=SIDE_POSITION,
                structure=structure,
                position=number,
                phases=phases,
                row=position.facts["row"],
            )


def _groups(scene: Scene, position: Position) -> list[tuple[str, int]]:
    counts = cables_by_phase(scene.field, position)
    stated = position.facts["phases"]
    letters = stated if isinstance(stated, str) else "".join(sorted(counts))
    groups: dict[int, str] = {}
    for phase in letters:
        cables = counts.get(phase, 0)
        groups[cables] = groups.get(cables, "") + phase
    return [(phases, cables) for cables, phases in groups.items()] or [("", 0)]


def _run_phases(scene: Scene, position: Position, phases: str) -> int:
    """Phases of the widest run there: line-to-line duty is met where more than one phase lands."""
    return max((len(scene.field.runs[index].phases) for index, _ in position.landings), default=len(phases))


def _cables(scene: Scene, position: Position, phases: str) -> tuple[Cable, ...]:
    return tuple(
        cable
        for index, _ in position.landings
        for letters, cable in scene.field.runs[index].cables
        if set(letters) & set(phases)
    )


def _templates(
    scene: Scene, position: Position, setting: Setting, *, phases: str, cables: int, first: bool
) -> tuple[int, ...]:
    landed = _cables(scene, position, phases)
    run_phases = _run_phases(scene, position, phases)
    key = (TABLE, id(setting), len(phases), cables, tuple(map(id, landed)), run_phases, first)
    numbers = scene.remembered(key)
    if numbers is None:
        made = _expand(scene, setting, landed, phases=len(phases), run_phases=run_phases, cables=cables, first=first)
        numbers = scene.remember(key, made)
    return numbers


def _expand(
    scene: Scene,
    setting: Setting,
    landed: Sequence[Cable],
    *,
    phases: int,
    run_phases: int,
    cables: int,
    first: bool,
) -> list[Template]:
    rules = scene.rules(TABLE)
    facts = {
        **place_facts(setting),
        "cables": cables,
        "phases": phases or blank("phases"),
        "arrester sides": scene.book.policies.arrester_sides,
    }
    ruling = rules.ruling(facts)
    templates = [
        template_of(
            given,
            need_of(given, setting, landed, phases=run_phases, by_system=scene.by_system),
            rules.revision,
            phases=phases,
            cables=1,
        )
        for given in scene.wanted(ruling)
        if first or given.per == "phase"
    ]
    undecided = undecided_templates(rules, ruling, facts, silent_ok=False)
    return [
        *(replace(template, cables=cables) if template.free_ways else template for template in templates),
        *undecided,
    ]
