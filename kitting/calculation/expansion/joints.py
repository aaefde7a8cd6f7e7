"""Lines of joints: once a joint, however many rows name it; and joints that still need a place."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kitting.calculation.answers import CANT_TELL
from kitting.calculation.expansion.cables import Cable, unknown_cable
from kitting.calculation.expansion.demands import need_of
from kitting.calculation.expansion.landings import Position, Run
from kitting.calculation.expansion.lines import SIDE_JOINT
from kitting.calculation.expansion.scene import Scene
from kitting.calculation.expansion.settings import Setting, blank
from kitting.calculation.expansion.slots import Template, template_of, undecided_templates
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact

TABLE = "joint accessories"
EXTRUDED = ("XLPE", "TR-XLPE", "EPR")


@dataclass(frozen=True, slots=True)
class _Sides:
    """The cables that meet on some phases of a joint, and how many of them lie in parallel on each phase."""

    cables: tuple[Cable, ...]
    parallel: int


def add_joint_lines(scene: Scene) -> None:
    """One owner for each joint and each group of phases on which the same cables meet."""
    for position in scene.field.positions.values():
        if position.facts["kind"] != "joint" or not position.landings:
            continue
        setting = scene.setting(position)
        structure, number = position.key
        for first, (sides, phases) in enumerate(_groups(scene, position).items()):
            key = (TABLE, setting, sides, len(phases), not first)
            numbers = scene.remembered(key)
            if numbers is None:
                made = _expand(scene, setting, sides, phases=len(phases), first=not first)
                numbers = scene.remember(key, made)
            scene.lines.add(
                numbers,
                job=position.job,
                side=SIDE_JOINT,
                structure=structure,
                position=number,
                phases=phases,
                row=position.facts["row"],
            )


def _groups(scene: Scene, position: Position) -> dict[_Sides, str]:
    """Phases by the cables that meet there, in phase order; the existing cable counts where only one end comes."""
    existing = position.facts["existing_cable_type"]
    by_phase: dict[str, list[tuple[Cable, int]]] = {}
    for index, _ in position.landings:
        run = scene.field.runs[index]
        for letters, cable in run.cables:
            for phase in letters:
                by_phase.setdefault(phase, []).append((cable, run.cables_per_phase))
    groups: dict[_Sides, str] = {}
    for phase in sorted(by_phase):
        ends = by_phase[phase]
        cables = tuple(cable for cable, _ in ends)
        if len(cables) == 1 and existing is not None:
            cables = (*cables, _existing(scene, existing))
        sides = _Sides(cables, max(parallel for _, parallel in ends))
        groups[sides] = groups.get(sides, "") + phase
    return groups


def _existing(scene: Scene, existing: Fact) -> Cable:
    return unknown_cable(existing) if isinstance(existing, Missing) else scene.cables.of_type(existing)


def _expand(scene: Scene, setting: Setting, sides: _Sides, *, phases: int, first: bool) -> list[Template]:
    rules = scene.rules(TABLE)
    if len(sides.cables) == 1:
        why = "only one cable is named at this joint: name the other side, or the existing cable type"
        missing = Missing("existing cable type", why, "positions", "existing cable type")
        return [Template(TABLE, 0, None, "", None, CANT_TELL, f"can't tell: {why}", "", rules.revision, (missing,))]
    facts = {
        **_joint_facts(sides.cables),
        "class kV": setting.line_class_kv,
        "environment": setting.environment,
        "phases": phases,
        "cables per phase": sides.parallel,
    }
    ruling = rules.ruling(facts)
    templates = [
        template_of(
            given,
            need_of(given, setting, sides.cables, phases=phases, by_system=scene.by_system),
            rules.revision,
            phases=phases,
            cables=sides.parallel,
        )
        for given in scene.wanted(ruling)
        if first or given.per == "phase"
    ]
    return [*templates, *undecided_templates(rules, ruling, facts, silent_ok=False)]


def _joint_facts(cables: Sequence[Cable]) -> dict[str, Fact]:
    return {
        "sides": len(cables),
        "same cable": _same(cables, ("conductor_size", "metal", "insulation", "type_code")),
        "same conductor": _same(cables, ("conductor_size", "metal")),
        "insulation": _insulation(cables),
        "jacketed": _jacketed(cables),
        "same shield": _same(cables, ("shield",)),
    }


def _same(cables: Sequence[Cable], fields: tuple[str, ...]) -> Fact:
    values = [[getattr(cable, field) for cable in cables] for field in fields]
    missing = _missing(value for row in values for value in row)
    if missing is not None:
        return missing
    return "yes" if all(value == row[0] for row in values for value in row) else "no"


def _missing(values: Iterable[Fact]) -> Missing | None:
    return next((value for value in values if isinstance(value, Missing)), None)


def _insulation(cables: Sequence[Cable]) -> Fact:
    values = [blank("insulation", "schedule") if c.insulation is None else c.insulation for c in cables]
    if (missing := _missing(values)) is not None:
        return missing
    extruded = [value in EXTRUDED for value in values]
    return "extruded" if all(extruded) else "mixed" if any(extruded) else "paper"


def _jacketed(cables: Sequence[Cable]) -> Fact:
    values = [blank("jacketed", "schedule") if c.jacketed is None else c.jacketed for c in cables]
    if (missing := _missing(values)) is not None:
        return missing
    return "all" if all(values) else "some" if any(values) else "none"


def add_planned_joints(scene: Scene) -> None:
    """Joints that a run needs because no reel is long enough: counted, and asked until their positions are named."""
    for run in scene.field.runs:
        template = _planned(run)
        if template is not None:
            scene.lines.add(
                scene.lines.keep([template]),
                job=run.job,
                run=run.run,
                side=SIDE_JOINT,
                phases=run.phases,
                row=run.row,
            )


def _planned(run: Run) -> Template | None:
    joints = run.planned_joints
    if isinstance(joints, Missing):
        sentence = f"can't tell how many joints the run needs: {joints.why}"
        return Template(TABLE, 0, None, "", None, CANT_TELL, sentence, "", "", (joints,))
    if not joints:
        return None
    total = joints * len(run.phases) * run.cables_per_phase
    why = (
        f"the run is longer than a reel: {joints} planned joint{'s' if joints > 1 else ''} a conductor, "
        f"{total} in all; name the joint positions"
    )
    missing = Missing("joint positions", why, "schedule", "length")
    return Template(TABLE, 0, None, "", None, CANT_TELL, f"can't tell: {why}", "", "", (missing,))
