"""What a given kind asks of an item at a place: the need, with only the facts that are read."""

from collections.abc import Sequence

from kitting.calculation.expansion.cables import Cable
from kitting.calculation.expansion.settings import Setting, blank
from kitting.calculation.expansion.slots import Given
from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.kinds import KINDS
from kitting.calculation.needs import Need, Side
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact

TAP_PLUG = "reducing tap plug"
_TAP_A = 200  # it ends a stack: the through current flows in the tee and stud before it (common practice)


def need_of(given: Given, setting: Setting, cables: Sequence[Cable], *, phases: int, by_system: bool) -> Need:
    """The need of one given kind.

    Args:
        given: what the rules give.
        setting: the facts of the place.
        cables: the cables at the part: one at an end, two or three at a joint.
        phases: how many phases the run there has: one phase on a multigrounded wye never meets line-to-line duty.
        by_system: true where a stand-in is limited to a system, so that the need must name it.
    """
    kind = KINDS[given.kind]
    at_interface = "interface" in kind.required
    tapped = at_interface and kind.interface_current_a == 200 and _is_600(setting)
    interface = setting.tap_interface if tapped else setting.interface
    if at_interface and interface is None:
        interface = blank("interface")
    reads_class = at_interface or "classes_kv" in kind.required
    return Need(
        kind=given.kind,
        fitted_by=given.fitted_by,
        sides=tuple(_side(cable, given.fitted_by) for cable in cables) if given.fitted_by != "none" else (),
        alternatives=given.alternatives,
        class_kv=(setting.class_kv if at_interface else setting.line_class_kv) if reads_class else None,
        interface=interface if at_interface else None,
        gives_interface=setting.tap_interface if given.kind == TAP_PLUG else None,
        current_a=_current(given.kind, setting) if at_interface and not tapped else None,
        switching=setting.switching if at_interface and not tapped else None,
        between_phases=not (phases == 1 and setting.multigrounded),
        mcov_kv=setting.mcov_kv if kind.arrester else None,
        system=setting.system if by_system else None,
    )


def _current(kind: str, setting: Setting) -> Fact:
    """The current that a part carries: the position's; of a reducing tap plug no more than its tap does."""
    current = setting.current_a
    return min(current, _TAP_A) if kind == TAP_PLUG and isinstance(current, int) else current


def _is_600(setting: Setting) -> bool:
    interface = setting.interface
    return isinstance(interface, str) and INTERFACES[interface].current_a == 600


def _side(cable: Cable, fitted_by: str) -> Side:
    """The facts of a cable that a part fitted so reads; a blank one is missing."""
    if fitted_by in ("insulation", "both insulations"):
        return Side(doi=cable.doi)
    if fitted_by in ("jacket", "both jackets"):
        return Side(jacket=cable.jacket, shield=cable.shield)
    return Side(
        conductor_size=_given(cable.conductor_size, "conductor size"),
        metal=_given(cable.metal, "metal"),
        strand=cable.strand,
    )


def _given(fact: Fact, label: str) -> Fact:
    return Missing(label, f"{label} is blank", "schedule", label) if fact is None else fact
