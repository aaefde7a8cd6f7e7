"""Lines of cable ends: what each end of a run takes where it lands, a joint aside."""

from kitting.calculation.expansion.cables import Cable
from kitting.calculation.expansion.demands import need_of
from kitting.calculation.expansion.landings import Run
from kitting.calculation.expansion.scene import Scene, cable_facts, cables_by_phase, place_facts
from kitting.calculation.expansion.settings import Setting
from kitting.calculation.expansion.slots import Template, conflict_template, template_of, undecided_templates

TABLE = "end accessories"
# One conductor goes on one 200 A interface (IEEE 386); a junction offers a way for each cable.
ONE_CABLE_KINDS = ("well 200 A", "integral 200 A", "deadbreak 200 A")


def add_end_lines(scene: Scene) -> None:
    """One owner for each end and each group of phases whose cable, and number of cables there, are equal."""
    for run in scene.field.runs:
        for side, key in enumerate(run.ends):
            position = scene.field.positions[key]
            if position.facts["kind"] == "joint":
                continue
            setting = scene.setting(position)
            counts = cables_by_phase(scene.field, position)
            for first, (phases, cable, cables) in enumerate(_groups(run, counts)):
                numbers = _templates(scene, run, setting, cable, phases=len(phases), cables=cables, first=not first)
                scene.lines.add(
                    numbers,
                    job=run.job,
                    run=run.run,
                    side=side,
                    structure=key[0],
                    position=key[1],
                    phases=phases,
                    row=run.row,
                )


def _groups(run: Run, counts: dict[str, int]) -> list[tuple[str, Cable, int]]:
    groups: dict[tuple[int, int], str] = {}
    for place, (phases, _) in enumerate(run.cables):
        for phase in phases:
            key = (place, counts[phase])
            groups[key] = groups.get(key, "") + phase
    return [(phases, run.cables[place][1], cables) for (place, cables), phases in groups.items()]


def _templates(
    scene: Scene, run: Run, setting: Setting, cable: Cable, *, phases: int, cables: int, first: bool
) -> tuple[int, ...]:
    key = (TABLE, id(setting), id(cable), phases, len(run.phases), run.cables_per_phase, cables, first)
    numbers = scene.remembered(key)
    if numbers is None:
        templates = _expand(scene, run, setting, cable, phases=phases, cables=cables, first=first)
        numbers = scene.remember(key, templates)
    return numbers


def _expand(
    scene: Scene, run: Run, setting: Setting, cable: Cable, *, phases: int, cables: int, first: bool
) -> list[Template]:
    rules = scene.rules(TABLE)
    if cables > 1 and setting.kind in ONE_CABLE_KINDS:
        sentence = f"{cables} cables on one phase of a {setting.kind} position, which takes one"
        return [conflict_template(TABLE, sentence, rules.revision)]
    facts = {
        **place_facts(setting),
        **cable_facts(cable),
        "cables": cables,
        "cables per phase": run.cables_per_phase,
        "phases": len(run.phases),
        "jacket seals": scene.book.policies.jacket_seals,
    }
    ruling = rules.ruling(facts)
    templates = [
        template_of(
            given,
            need_of(given, setting, (cable,), phases=len(run.phases), by_system=scene.by_system),
            rules.revision,
            phases=phases,
            cables=run.cables_per_phase,
        )
        for given in scene.wanted(ruling)
        if first or given.per == "phase"
    ]
    return [*templates, *undecided_templates(rules, ruling, facts, silent_ok=False)]
