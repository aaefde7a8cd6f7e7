"""Lines of locations and of the whole outage, rows that can't be used, lines added by hand, and spares."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from kitting.calculation.answers import CANT_TELL
from kitting.calculation.expansion.lines import SIDE_JOB, SIDE_LOCATION, SIDE_POSITION
from kitting.calculation.expansion.scene import Scene
from kitting.calculation.expansion.settings import Setting
from kitting.calculation.expansion.slots import Given, Template, template_of, undecided_templates
from kitting.calculation.needs import Alternative, Need
from kitting.calculation.records import Fact, records
from kitting.calculation.rule_table.limits import NO_LIMITS

LOCATIONS = "location accessories"
SPARES = "spares"
ROW = "row"
BY_HAND = "by hand"


def add_location_lines(scene: Scene) -> None:
    """Rules of the location table: once a structure, or once a job where they count by outage."""
    rules = scene.rules(LOCATIONS)
    if not rules.table.rules:
        return
    by_outage: dict[str, dict[str, Given]] = defaultdict(dict)
    for (job, structure), facts in _locations(scene).items():
        ruling = rules.ruling(facts)
        for given in scene.wanted(ruling):
            if given.per == "outage":
                by_outage[job].setdefault(given.alternatives[0].rule, given)
        here = [_plain(given, rules.revision) for given in scene.wanted(ruling) if given.per != "outage"]
        here += undecided_templates(rules, ruling, facts, silent_ok=True)
        numbers = scene.lines.keep(scene.fitter.fit(here))
        scene.lines.add(numbers, job=job, side=SIDE_LOCATION, structure=structure)
    for job, given_once in by_outage.items():
        templates = [_plain(given, rules.revision) for given in given_once.values()]
        scene.lines.add(scene.lines.keep(scene.fitter.fit(templates)), job=job, side=SIDE_JOB)


def _plain(given: Given, revision: str) -> Template:
    need = Need(kind=given.kind, alternatives=given.alternatives)
    return template_of(given, need, revision, phases=1, cables=1)


def _locations(scene: Scene) -> dict[tuple[str, str], dict[str, Fact]]:
    """(job, structure) -> facts: how many ends, joints and positions of the job are there."""
    facts: dict[tuple[str, str], dict[str, Fact]] = {}
    for position in scene.field.positions.values():
        joint = position.facts["kind"] == "joint"
        jobs = {scene.field.runs[index].job for index, _ in position.landings} | {position.job}
        for job in jobs - {""}:
            here = facts.setdefault((job, position.facts["structure"]), {"ends": 0, "joints": 0, "positions": 0})
            ends = sum(1 for index, _ in position.landings if scene.field.runs[index].job == job)
            here["ends"] += 0 if joint else ends
            here["joints"] += 1 if joint and ends else 0
            here["positions"] += 0 if joint else int(position.job == job)
            setting: Setting = scene.setting(position)
            here["earthing"], here["class kV"] = setting.earthing, setting.line_class_kv
    return facts


def add_unusable_rows(scene: Scene) -> None:
    """One line, can't tell, for each schedule row that can't be used."""
    for record in scene.field.unusable:
        sentence = f"row {record['row']} can't be used: {record['unusable_why']}"
        template = Template(ROW, 0, None, "", None, CANT_TELL, sentence, "", "")
        job = record["job"] if isinstance(record["job"], str) else ""
        run = record["run"] if isinstance(record["run"], str) else str(record["row"])
        scene.lines.add(scene.lines.keep([template]), job=job, run=run, side=SIDE_JOB, row=record["row"])


def add_lines_by_hand(scene: Scene) -> None:
    """Lines that a person added, with reason and name."""
    for record in records(scene.book, "added lines"):
        if any(not isinstance(record[name], kind) for name, kind in (("job", str), ("kind", str), ("quantity", int))):
            continue
        position = record["position"] if isinstance(record["position"], str) else ""
        code = record["stock_code"] if isinstance(record["stock_code"], str) else None
        by_hand = f"added by hand by {record['by']}: {record['reason']}"
        template = _by_hand(record["kind"], code, record["quantity"], by_hand)
        fitted = scene.fitter.fit([template])
        fitted = [replace(one, sentence=f"{by_hand}; {one.sentence}" if one.sentence else by_hand) for one in fitted]
        scene.lines.add(
            scene.lines.keep(fitted),
            job=record["job"],
            side=SIDE_POSITION if position else SIDE_LOCATION,
            structure=record["structure"],
            position=position,
            row=record["row"],
        )


def _by_hand(kind: str, code: str | None, quantity: int, sentence: str) -> Template:
    alternative = Alternative(0, NO_LIMITS, BY_HAND, sentence)
    need = Need(kind=kind, alternatives=(alternative,), fixed_code=code)
    return Template(kind, 10**6, quantity, "location", need, "", "", BY_HAND, "")


def spare_templates(scene: Scene, chosen: Mapping[str, Sequence[str]]) -> list[Template]:
    """Spares of one job: for each kind the stock codes its lines choose, as the spares table says.

    Args:
        scene: the rules and the fitter.
        chosen: kind -> stock codes chosen by the job's lines, in any order.
    """
    rules = scene.rules(SPARES)
    templates = []
    for kind in sorted(chosen):
        ruling = rules.ruling({"kind": kind})
        for given in scene.wanted(ruling):
            for code in sorted(set(chosen[kind])):
                spare_key = (kind, given.order, code)
                if spare_key not in scene.spares:
                    need = Need(kind=given.kind, alternatives=given.alternatives, fixed_code=code)
                    spare = template_of(given, need, rules.revision, phases=1, cables=1)
                    scene.spares[spare_key] = scene.fitter.choose(replace(spare, spare=True))
                templates.append(scene.spares[spare_key])
    return scene.fitter.fit(templates) if templates else []
