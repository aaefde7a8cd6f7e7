"""The facts of a place that rules and checks read: system, class, interface, duty, arrester need."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kitting.calculation.interfaces import INTERFACES, interface_options, tap_interface
from kitting.calculation.kinds import POSITION_KINDS
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact, records
from kitting.calculation.rule_book import RuleBook
from kitting.calculation.rule_table import hits
from kitting.calculation.sheets.book import Book
from kitting.calculation.systems import is_multigrounded_wye, mcov_need_kv


@dataclass(frozen=True, slots=True)
class System:
    """A system as the rules read it: class (text or missing), earthing, MCOV need in kV."""

    code: str
    class_kv: Fact
    earthing: Fact
    mcov_need_kv: Fact
    multigrounded: bool


def read_systems(book: Book, rules: RuleBook) -> dict[str, System]:
    """All systems of the book; the class comes from the system or from the connector class table."""
    return {row["system"]: _system(row, book, rules) for row in records(book, "systems")}


def _system(row: Mapping[str, Fact], book: Book, rules: RuleBook) -> System:
    return System(
        code=row["system"],
        class_kv=_class_of(row, rules),
        earthing=row["earthing"],
        mcov_need_kv=_mcov_of(row, book.policies.max_factor),
        multigrounded=is_multigrounded_wye(row["earthing"]),
    )


def _class_of(row: Mapping[str, Fact], rules: RuleBook) -> Fact:
    stated = row["connector_class_kv"]
    if stated is not None:
        return stated
    facts = {"nominal kV": row["nominal_kv"], "wires": row["wires"]}
    found = hits(rules.table("connector class"), facts)
    if len(found.definite) == 1 and not found.possible:
        return found.definite[0].results["class kV"]
    if found.possible:
        return found.possible[0].missing[0]
    why = "the connector class table has no one class for this nominal voltage"
    return Missing("connector class", why, "systems", "connector class kV", row=row["row"])


def _mcov_of(row: Mapping[str, Fact], max_factor: Decimal) -> Fact:
    read = ("nominal_kv", "earthing", "wires", "max_factor", "mcov_need_kv")
    doubtful = next((row[field] for field in read if isinstance(row[field], Missing)), None)
    if doubtful is not None:
        return doubtful
    if row["earthing"] is None and row["mcov_need_kv"] is None:
        return Missing("earthing", "earthing is blank", "systems", "earthing", row=row["row"])
    return mcov_need_kv(
        nominal_kv=row["nominal_kv"],
        earthing=row["earthing"],
        wires=row["wires"],
        max_factor=row["max_factor"] or max_factor,
        given=row["mcov_need_kv"],
    )


@dataclass(frozen=True, slots=True)
class Setting:
    """What a line at a position reads of its surroundings. ``None`` is blank; a Missing is asked."""

    kind: Fact
    interface: Fact
    class_kv: Fact
    line_class_kv: Fact
    tap_interface: Fact
    current_a: Fact
    switching: Fact
    state: Fact
    environment: Fact
    test_point: Fact
    insert_fitted: Fact
    earthing: Fact
    mcov_kv: Fact
    multigrounded: bool
    system: str
    note: str = ""


def blank(label: str, sheet: str = "positions") -> Missing:
    """A blank cell that is asked only when a rule or a check reads it."""
    return Missing(label, f"{label} is blank", sheet, label)


def setting_of(
    position: Mapping[str, Fact], before: tuple[System, ...], after: tuple[System, ...], *, cables: int
) -> Setting:
    """Facts of one position under the systems it lives through.

    Args:
        position: a row of the positions sheet.
        before: the systems of the runs there before the cutover.
        after: the systems after it (equal to ``before`` where nothing changes).
        cables: greatest number of cables on one phase that land there.
    """
    system_class = _common([s.class_kv for s in (*before, *after)], "voltage class")
    kind = position["kind"] or blank("kind")
    interface = _interface(position["interface"], kind, system_class)
    line_class, note, interface = _line_class(interface, system_class)
    well = kind == "well 200 A"
    return Setting(
        kind=kind,
        interface=interface,
        class_kv=line_class,
        line_class_kv=system_class,
        tap_interface=_tap_interface(interface, line_class),
        current_a=_current(position["current_a"], kind, interface),
        switching=position["switching"],
        state=position["state"] or ("in use" if cables else "unused"),
        environment=position["environment"] or blank("environment"),
        test_point=position["test_point"] if position["test_point"] is not None else False,
        insert_fitted=(position["insert_fitted"] if position["insert_fitted"] is not None else blank("insert fitted"))
        if well
        else None,
        earthing=_common([s.earthing for s in (*before, *after)], "earthing"),
        mcov_kv=_mcov(position["stage"], before, after),
        multigrounded=all(s.multigrounded for s in (*before, *after)) and bool(before),
        system=before[0].code if before else "",
        note=note,
    )


def _current(given: Fact, kind: Fact, interface: Fact) -> Fact:
    """Continuous current of the position in A: as given, else 200 or 600 by its kind, else by its interface."""
    if given is not None or isinstance(kind, Missing):
        return given
    by_kind = POSITION_KINDS[kind].current_a
    return by_kind or (INTERFACES[interface].current_a if isinstance(interface, str) else None)


def _common(values: list[Fact], fact: str) -> Fact:
    """The one value that all systems at the place share; else it is missing."""
    missing = next((value for value in values if isinstance(value, Missing)), None)
    if missing is not None:
        return missing
    distinct = sorted({str(value) for value in values})
    if len(distinct) == 1:
        return values[0]
    if not distinct:
        return Missing("system", "no run tells which system the position is on", "positions", "job")
    return Missing(fact, f"the systems here differ: {' and '.join(distinct)}", "schedule", "system")


def _interface(given: Fact, kind: Fact, class_kv: Fact) -> Fact:
    if given is not None:
        return given
    if isinstance(kind, Missing):
        return kind
    if isinstance(class_kv, Missing):
        return class_kv if interface_options(kind, "15") else None
    options = interface_options(kind, class_kv)
    if not options:
        return None
    if len(options) == 1:
        return options[0]
    why = f"interface is blank and a {kind} at class {class_kv} may be {' or '.join(options)}"
    return Missing("interface", why, "positions", "interface", options=tuple((option, option) for option in options))


def _line_class(interface: Fact, class_kv: Fact) -> tuple[Fact, str, Fact]:
    """Class the connector must have, a note, and the interface: the connector follows the equipment.

    An interface above the system's class is used with a note; one below it, or of another family, is asked.
    """
    if isinstance(interface, Missing) or interface is None or isinstance(class_kv, Missing):
        return class_kv, "", interface
    known = INTERFACES[interface]
    if class_kv in known.classes:
        return class_kv, "", interface
    higher = [other for other in known.classes if _same_family(other, class_kv) and _kv(other) > _kv(class_kv)]
    if higher:
        above = min(higher, key=_kv)
        return above, f"interface {interface} is above the system's class {class_kv}", interface
    why = f"interface {interface} is not for the system's class {class_kv}"
    return class_kv, "", Missing("interface", why, "positions", "interface")


def _same_family(one: str, other: str) -> bool:
    """15, 25, 35 kV are one family; U0/U(Um) designations the other. Families never match."""
    return ("(" in one) == ("(" in other)


def _kv(class_kv: str) -> Decimal:
    """Highest voltage of a class in kV: the number itself, or Um in the brackets of U0/U(Um)."""
    return Decimal(class_kv.rpartition("(")[2].rstrip(")"))


def _tap_interface(interface: Fact, class_kv: Fact) -> Fact:
    """The 200 A interface on the back of a 600 A connector, where a reducing tap plug gives one."""
    if isinstance(interface, Missing) or interface is None or INTERFACES[interface].current_a != 600:
        return None
    if isinstance(class_kv, Missing):
        return class_kv
    options = tap_interface(class_kv)
    if len(options) == 1:
        return options[0]
    why = f"a tap plug at class {class_kv} may give {' or '.join(options)}"
    return Missing("interface", why, "positions", "interface", options=tuple((option, option) for option in options))


def _mcov(stage: Fact, before: tuple[System, ...], after: tuple[System, ...]) -> Fact:
    """Highest MCOV need of the stages the arrester lives through (kV)."""
    needs = {"before": [s.mcov_need_kv for s in before], "after": [s.mcov_need_kv for s in after]}
    missing = next((need for needed in needs.values() for need in needed if isinstance(need, Missing)), None)
    if missing is not None:
        return missing
    if not before:
        return Missing("system", "no run tells which system the position is on", "positions", "job")
    highest = {name: max(values) for name, values in needs.items()}
    if isinstance(stage, Missing):
        return stage
    if stage in highest:
        return highest[stage]
    if stage == "both" or before == after or highest["before"] == highest["after"]:
        return max(highest.values())
    options = tuple((name, value) for name, value in highest.items())
    why = "stage is blank and the system changes at this cutover; until it is given the higher need counts"
    return Missing("stage", why, "positions", "stage", options=options)
