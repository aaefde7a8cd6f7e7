"""Every promised part really serves its line: the facts of the sheets compared plainly, apart from the matcher."""

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from itertools import product
from typing import Any, NamedTuple

from changed_books import books
from desk import Desk
from hypothesis import Phase, given, settings
from plain_sheets import Row, in_words, plain_rows

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook

# No shrinking: a whole book takes minutes to shrink.
EXAMPLES = settings(max_examples=8, phases=(Phase.explicit, Phase.reuse, Phase.generate))
WITHOUT_INTERFACE = {"splice", "termination"}  # the only kinds with a class where a higher one may stand in

GIVE_INTERFACE = {"bushing insert", "feed-through insert", "reducing tap plug"}


class Cable(NamedTuple):
    """What a cable asks of a part, as text; lengths in millimetres."""

    size: str
    metal: str
    insulation: tuple[str, str]
    jacket: tuple[str, str]


class Barrel(NamedTuple):
    """What one opening of a part takes; blank is no limit."""

    sizes: list[str]
    metals: list[str]
    insulation: tuple[str, str]


class Sheets:
    """The sheets by key, and which cables lie at which end or joint."""

    def __init__(self, raw: RawBook) -> None:
        self.items = {row["stock code"]: row for row in plain_rows(raw, "items")}
        self.types = {row["cable type"]: row for row in plain_rows(raw, "cable types")}
        self.reels = {row["reel"]: row for row in plain_rows(raw, "reels")}
        self.systems = {row["system"]: row for row in plain_rows(raw, "systems")}
        self.runs = {(row["job"], row["run"]): row for row in plain_rows(raw, "schedule")}
        self.places = {(row["structure"], row["position"]): row for row in plain_rows(raw, "positions")}
        self.stand_ins = {(row["wanted"], row["allowed"]) for row in plain_rows(raw, "stand ins")}
        self.max_factor = Decimal(next(r["value"] for r in plain_rows(raw, "policies") if r["policy"] == "max factor"))

    def runs_at(self, structure: str, position: str = "") -> list[Row]:
        """Rows of the schedule that name a position, or any at a structure, from whichever job."""
        return [
            run
            for run in self.runs.values()
            for end in ("from", "to")
            if run[f"{end} structure"] == structure and position in {"", run[f"{end} position"]}
        ]

    def class_at(self, structure: str, position: str) -> str:
        """The class of the systems at a position; the demo's conversions keep it."""
        runs = self.runs_at(structure, position)
        classes = {
            self.systems[one]["connector class kV"]
            for run in runs
            for one in (run["system"], run["system after"])
            if one
        }
        return classes.pop() if len(classes) == 1 else ""

    def cable(self, run: Row) -> Cable | None:
        """The cable of a run by its reel, else by its cable type; None where the row names neither."""
        reel = self.reels.get(run["reel"])
        kind = self.types.get(reel["cable type"] if reel else run["cable type"])
        if kind is None:
            return None
        gauged = (reel["DOI low"], reel["DOI high"]) if reel else ("", "")
        insulation = gauged if all(gauged) else (kind["DOI low"], kind["DOI high"])
        return Cable(kind["conductor size"], kind["metal"], insulation, (kind["jacket low"], kind["jacket high"]))

    def cables(self, line: Any) -> list[Cable]:
        """The cables that a line of an end or a joint joins; those the row alone describes are left out."""
        if line.side == "joint":
            place = self.places[line.structure, line.position]
            runs = self.runs_at(line.structure, line.position)
            runs = [run for run in runs if set(run["phases"]) & set(line.phases)]
            old = place["existing cable type"] if len(runs) == 1 else ""
            found = [self.cable(run) for run in runs]
            found += [self.cable({"reel": "", "cable type": old})] if old else []
        elif line.side in {"from", "to"} and line.run:
            found = [self.cable(self.runs[line.job, line.run])]
        else:
            found = []
        return [cable for cable in found if cable is not None]


def openings(item: Row) -> list[Barrel]:
    """One opening, or two where the item has a second side; what that leaves blank is as on the first."""
    first = Barrel(in_words(item["conductor sizes"]), in_words(item["metal"]), (item["DOI low"], item["DOI high"]))
    sizes, metals = in_words(item["conductor sizes 2"]), in_words(item["metal 2"])
    return (
        [first, Barrel(sizes or first.sizes, metals or first.metals, first.insulation)] if sizes or metals else [first]
    )


def lies_in(band: tuple[str, str], limits: tuple[str, str]) -> bool:
    """Whether a band lies in a range, ends included; a blank end of the range is no limit."""
    return all(
        not limit or (given != "" and sign * Decimal(given) >= sign * Decimal(limit))
        for given, limit, sign in zip(band, limits, (1, -1), strict=True)
    )


def size_text(size: str) -> tuple[str, str]:
    """Number and family of a conductor size; a bare number with a stroke or below 5 is AWG."""
    number, _, unit = size.partition(" ")
    return number, unit or "AWG"


def takes_size(sizes: list[str], size: str) -> bool:
    """Whether a list or a span of sizes in mm2 holds a size."""
    number, family = size_text(size)
    for one in sizes:
        low, dots, high = one.partition("..")
        if dots and family == "mm2" and Decimal(low) <= Decimal(number) <= Decimal(high.split()[0]):
            return True
        if not dots and size_text(one) == (number, family):
            return True
    return not sizes


def fits(item: Row, cables: list[Cable]) -> bool:
    """Whether the cables fit the item's openings, each opening with at least one, and its jacket range."""
    barrels = openings(item)
    sides = cables * len(barrels) if len(cables) < len(barrels) else cables
    jackets = all(lies_in(cable.jacket, (item["jacket low"], item["jacket high"])) for cable in cables)
    return jackets and any(
        all(
            takes_size(barrel.sizes, cable.size)
            and (not barrel.metals or cable.metal in barrel.metals)
            and lies_in(cable.insulation, barrel.insulation)
            for barrel, cable in zip(way, sides, strict=True)
        )
        for way in product(barrels, repeat=len(sides))
        if len(set(map(id, way))) == len(barrels)
    )


def promised(raw: RawBook, plan: Plan) -> Iterator[tuple[Row, Any]]:
    """Each promised item with its line."""
    items = {row["stock code"]: row for row in plain_rows(raw, "items")}
    lines = {line.line: line for line in plan.requirements.itertuples(index=False)}
    for line, code in set(zip(plan.promises["line"], plan.promises["stock_code"], strict=True)):
        yield items[code], lines[line]


@EXAMPLES
@given(books())
def test_a_promised_part_holds_the_cables_of_its_line(raw: RawBook) -> None:
    """Conductor size and metal, diameter over insulation, jacket: of the reel or cable type on the schedule."""
    sheets = Sheets(raw)
    for item, line in promised(raw, Desk(raw).plan()):
        cables = sheets.cables(line)
        assert not cables or fits(item, cables), (line.line, item["stock code"])


def offered(found: list[tuple[Row, Any]]) -> dict[tuple[str, str], set[str]]:
    """The interfaces that promised plugs and inserts offer, by structure and position."""
    gives: dict[tuple[str, str], set[str]] = defaultdict(set)
    for item, line in found:
        if item["gives interface"]:
            gives[line.structure, line.position].add(item["gives interface"])
    return gives


def undecided(plan: Plan) -> set[tuple[str, str]]:
    """Where a plug or insert is short that nobody can supply: what sits on it is right for what that is to offer."""
    lines = plan.requirements.itertuples(index=False)
    return {(line.structure, line.position) for line in lines if line.kind in GIVE_INTERFACE and not line.stock_code}


@EXAMPLES
@given(books())
def test_a_promised_part_is_active_and_of_the_kind_class_interface_and_duty(raw: RawBook) -> None:
    """The system's class, not the cable's; a class above only by an approval and where no interface is involved."""
    sheets = Sheets(raw)
    plan = Desk(raw).plan()
    found = list(promised(raw, plan))
    gives, to_come = offered(found), undecided(plan)
    for item, line in found:
        assert item["state"] in {"", "active"}
        assert item["kind"] == line.kind
        own = (line.stock_code, item["stock code"]) not in sheets.stand_ins
        if line.class_kv and item["class kV"] and (own or line.kind not in WITHOUT_INTERFACE):
            assert line.class_kv in in_words(item["class kV"])
        if own and line.kind in WITHOUT_INTERFACE:
            assert in_words(item["class kV"]) == [sheets.class_at(line.structure, line.position)]
        place = sheets.places.get((line.structure, line.position))
        if place is None or line.side not in {"from", "to", "position"}:
            continue
        if item["interface"] and place["interface"] and (line.structure, line.position) not in to_come:
            assert item["interface"] in {place["interface"], *gives[line.structure, line.position]}
        if item["current A"] and line.current_a:
            assert int(item["current A"]) >= int(line.current_a)
        if line.interface:  # a tag or a connector breaks no load, whatever its row says
            assert place["switching"] != "loadbreak" or item["switching"] != "deadbreak"
        runs = sheets.runs_at(line.structure, line.position)
        if item["phase to phase"] == "no":
            assert all(len(run["phases"]) == 1 for run in runs)
            assert {sheets.systems[run["system"]]["earthing"] for run in runs} <= {"multigrounded wye"}


@EXAMPLES
@given(books())
def test_a_promised_arrester_bears_the_highest_voltage_of_all_stages_it_lives_through(raw: RawBook) -> None:
    """MCOV squared against the need squared, so that no root is rounded."""
    sheets = Sheets(raw)
    for item, line in promised(raw, Desk(raw).plan()):
        if not item["MCOV kV"] or not line.position:
            continue
        place = sheets.places[line.structure, line.position]
        for run in sheets.runs_at(line.structure, line.position) or sheets.runs_at(line.structure):
            stages = {"before": run["system"], "after": run["system after"]}
            lived = {stages[place["stage"]]} if place["stage"] in stages and run["system after"] else stages.values()
            for system in lived:
                if system:
                    assert Decimal(item["MCOV kV"]) ** 2 >= need_squared(sheets.systems[system], sheets.max_factor)


def need_squared(system: Row, max_factor: Decimal) -> Decimal:
    """Line to earth on a multigrounded wye, or solid with four wires; everything else line to line."""
    top = Decimal(system["nominal kV"]) * Decimal(system["max factor"] or max_factor)
    to_earth = system["earthing"] == "multigrounded wye" or (system["earthing"] == "solid" and system["wires"] == "4")
    return top**2 / 3 if to_earth else top**2
