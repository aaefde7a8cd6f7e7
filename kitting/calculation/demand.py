"""Lines as cells of the promising problem: lines of one kit that ask the same at one depot are one cell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from kitting.calculation.expansion.pins import Pin
from kitting.calculation.expansion.slots import Template
from kitting.calculation.job_dates import JobDates
from kitting.calculation.needs import StandInOption
from kitting.calculation.promising.model import Cell, Kit, Lot
from kitting.calculation.promising.usable import arrival_day, is_usable
from kitting.calculation.quantities import as_decimal
from kitting.calculation.questions import ASK, NOTE, Question
from kitting.calculation.supply import Supply


@dataclass(frozen=True, slots=True)
class Demand:
    """Cells in line order, and for each line its cell (-1: the line takes nothing).

    ``stand_in_caps`` are the most thousandths of an item that may stand in; the least of its approvals holds.
    ``questions`` name the pins that can't be held, and pieces staged for a job that none of its lines takes.
    """

    cells: tuple[Cell, ...]
    cell_of_line: np.ndarray
    stand_in_caps: Mapping[int, int]
    questions: tuple[Question, ...]


class _Options:
    """Distinct option lists of templates, numbered."""

    def __init__(self, templates: Sequence[Template], items: Mapping[str, int]) -> None:
        numbers: dict[tuple[object, ...], int] = {}
        self.of_template = np.full(len(templates), -1, dtype=np.int64)
        self.codes: list[tuple[int, ...]] = []
        self.stand_ins: list[tuple[StandInOption, ...]] = []
        self.caps: dict[int, int] = {}
        for index, template in enumerate(templates):
            if template.answer or not template.codes or not template.quantity:
                continue
            stand_ins = template.match.stand_ins if template.match else ()
            key = (template.codes, stand_ins)
            if key not in numbers:
                numbers[key] = len(self.codes)
                self.codes.append(tuple(items[code] for code in template.codes))
                self.stand_ins.append(stand_ins)
            self.of_template[index] = numbers[key]

    def stand_ins_on(self, option: int, day: date | None, items: Mapping[str, int]) -> tuple[int, ...]:
        """Stand-ins of an option list that are approved on a cutover date, each once; their caps are noted."""
        text = "" if day is None else day.isoformat()
        found = {}
        for one in self.stand_ins[option]:
            if text and (one.valid_from or text) <= text <= (one.valid_to or text):
                item = found[one.stock_code] = items[one.stock_code]
                if one.max_quantity is not None:
                    self.caps[item] = min(self.caps.get(item, one.max_quantity), one.max_quantity)
        return tuple(found.values())


def read_demand(
    frame: pd.DataFrame,
    templates: Sequence[Template],
    *,
    jobs: Mapping[str, JobDates],
    kits: Sequence[Kit],
    items: Mapping[str, int],
    supply: Supply,
    pins: Sequence[Pin],
    depots: np.ndarray | None = None,
) -> Demand:
    """Cells of all jobs.

    Args:
        frame: lines in line order (``Lines.frame``).
        templates: the templates they point to.
        jobs: jobs in the order of service.
        kits: the same jobs as kits.
        items: index of each stock code.
        supply: the free lots; staged pieces and pinned lots are fixed to their cells here.
        pins: pins that found their line.
        depots: for each line the depot at which its bag is staged, -1 where the job has one; None where all jobs have.
    """
    options = _Options(templates, items)
    kit_of_code = _kits(frame, jobs)
    template = frame["template"].to_numpy()
    option = options.of_template[template] if len(templates) else template.astype(np.int64)
    kit = kit_of_code[frame["job"].cat.codes.to_numpy()] if len(frame) else option
    spare = np.array([t.spare for t in templates], dtype=np.int64)[template] if len(templates) else option
    pinned = _pinned_lines(frame, pins)
    open_line = (option >= 0) & (kit >= 0)
    depot = np.full(len(frame), -1, dtype=np.int64) if depots is None else depots
    keys = np.stack([kit, option, spare, pinned, depot + 1], axis=1)[open_line]
    _, first, inverse = np.unique(_packed(keys), return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    cell_of_line = np.full(len(frame), -1, dtype=np.int64)
    cell_of_line[open_line] = place[inverse.ravel()]
    quantity = np.zeros(len(order), dtype=np.int64)
    amounts = np.array([t.quantity or 0 for t in templates], dtype=np.int64)
    np.add.at(quantity, cell_of_line[open_line], amounts[template[open_line]])
    days = [job.cutover.date() if job.cutover else None for job in jobs.values()]
    cells = [
        Cell(
            kit=int(k),
            options=options.codes[o],
            stand_ins=options.stand_ins_on(int(o), days[k], items),
            quantity=int(amount),
            spare=bool(s),
            depot=int(d) - 1,
        )
        for (k, o, s, _, d), amount in zip(keys[first[order]].tolist(), quantity.tolist(), strict=True)
    ]
    pins_by_cell = _pins_by_cell(frame, pins, cell_of_line)
    fixed, questions = _with_fixed(cells, kits, supply, pins_by_cell)
    return Demand(fixed, cell_of_line, options.caps, questions)


def _packed(keys: np.ndarray) -> np.ndarray:
    """Rows of small numbers as one number each, equal where the rows are."""
    packed = np.zeros(len(keys), dtype=np.int64)
    for column in keys.T:
        packed = packed * (int(column.max(initial=0)) + 1) + column
    return packed


def _kits(frame: pd.DataFrame, jobs: Mapping[str, JobDates]) -> np.ndarray:
    numbers = {job: index for index, job in enumerate(jobs)}
    return np.array([numbers.get(job, -1) for job in frame["job"].cat.categories], dtype=np.int64)


def _pinned_lines(frame: pd.DataFrame, pins: Sequence[Pin]) -> np.ndarray:
    by_source = np.zeros(int(frame["source"].max()) + 1 if len(frame) else 0, dtype=np.int64)
    for number, pin in enumerate(pins, start=1):
        by_source[pin.source] = number
    pinned: np.ndarray = by_source[frame["source"].to_numpy()]
    return pinned


def _pins_by_cell(frame: pd.DataFrame, pins: Sequence[Pin], cell_of_line: np.ndarray) -> dict[int, list[Pin]]:
    line_of_source = {int(source): line for line, source in enumerate(frame["source"].tolist())} if pins else {}
    found: dict[int, list[Pin]] = {}
    for pin in pins:
        cell = int(cell_of_line[line_of_source[pin.source]])
        if cell >= 0:
            found.setdefault(cell, []).append(pin)
    return found


class _Taking:
    """Pieces leaving the supply, lot by lot, for cells that they serve in time."""

    def __init__(self, cells: Sequence[Cell], kits: Sequence[Kit], supply: Supply) -> None:
        self.cells, self.kits, self.lots = cells, kits, supply.lots
        self.left = [lot.quantity for lot in supply.lots]
        self.fixed: dict[int, list[tuple[int, int]]] = {}

    def serves(self, cell: int, lot: Lot) -> bool:
        """Whether a lot can serve a cell: right code, there in time, good through the cutover, not kept for others."""
        wanted = self.cells[cell]
        return (lot.item in wanted.options or lot.item in wanted.stand_ins) and is_usable(
            lot, self.asking(cell), wanted.kit
        )

    def asking(self, cell: int) -> Kit:
        """The kit of a cell as the depot sees it at which the cell is staged."""
        return self.kits[self.cells[cell].kit].at(self.cells[cell].depot)

    def take(self, cell: int, lot: int, most: int) -> int:
        """Take up to ``most`` pieces of a lot for a cell; returns how many there were."""
        pieces = min(self.left[lot], most) if self.serves(cell, self.lots[lot]) else 0
        if pieces > 0:
            self.left[lot] -= pieces
            self.fixed.setdefault(cell, []).append((lot, pieces))
        return max(pieces, 0)

    def held(self, cell: int) -> int:
        """Pieces already taken for a cell."""
        return sum(pieces for _, pieces in self.fixed.get(cell, ()))


def _with_fixed(
    cells: list[Cell], kits: Sequence[Kit], supply: Supply, pins: Mapping[int, list[Pin]]
) -> tuple[tuple[Cell, ...], tuple[Question, ...]]:
    """Cells with the pieces that leave the supply first: pinned ones, then what is staged or bagged for the job."""
    taking = _Taking(cells, kits, supply)
    questions: list[Question] = []
    for cell in sorted(pins):
        for pin in sorted(pins[cell], key=lambda one: (not one.lot, not one.depot)):
            wanted = min(pin.quantity, cells[cell].quantity - taking.held(cell))
            asking = taking.asking(cell)
            lots = _lots_of_pin(pin, supply, asking.depot)
            for lot in lots:
                wanted -= taking.take(cell, lot, wanted)
            if wanted > 0 and asking.dated:
                questions.append(_unheld(pin, wanted, lots, asking, supply))
    by_kit: dict[int, list[int]] = {}
    for index, cell_ in enumerate(cells):
        by_kit.setdefault(cell_.kit, []).append(index)
    staged = [(lot.walk, index) for index, lot in enumerate(supply.lots) if lot.only_kit >= 0]
    for _, index in sorted(staged):
        kit = supply.lots[index].only_kit
        for cell in by_kit.get(kit, ()):
            taking.take(cell, index, cells[cell].quantity - taking.held(cell))
        if taking.left[index] and kits[kit].dated and not supply.lots[index].let_go:
            asking = kits[kit].at(supply.lots[index].depot)
            questions.append(_untaken(supply, index, taking.left[index], asking))
    with_fixed = tuple(
        replace(cell, fixed=tuple(taking.fixed[index])) if index in taking.fixed else cell
        for index, cell in enumerate(cells)
    )
    return with_fixed, tuple(questions)


def _unheld(pin: Pin, wanted: int, lots: Sequence[int], kit: Kit, supply: Supply) -> Question:
    """A pin whose pieces are not there, or don't serve in time: an ask, because the plan takes other pieces."""
    named = " ".join(
        text for text in (pin.stock_code, pin.lot and f"lot {pin.lot}", pin.depot and f"at {pin.depot}") if text
    )
    why = next((told for lot in lots if (told := why_not(supply.lots[lot], kit))), "no more of it is free")
    problem = f"{as_decimal(wanted)} of {as_decimal(pin.quantity)} pinned {named} can't be held: {why}"
    return Question("pins", pin.row, "quantity", str(as_decimal(pin.quantity)), problem, "drop or change the pin", ASK)


def _untaken(supply: Supply, index: int, left: int, kit: Kit) -> Question:
    """Pieces staged or bagged for a job that no line of it takes: a note, for whoever packs them."""
    source = supply.sources[index]
    why = why_not(supply.lots[index], kit) or "no line of the job needs them"
    problem = f"{as_decimal(left)} {source.stock_code} in {source.place} are kept for {kit.job} but not used: {why}"
    suggestion = "turn them in, or name another job"
    return Question(
        "stock", source.row, "quantity", str(as_decimal(supply.lots[index].quantity)), problem, suggestion, NOTE
    )


def why_not(lot: Lot, kit: Kit) -> str:
    """Why pieces of a lot can't go into a kit, '' where its dates let them."""
    if lot.expiry_day < kit.good_through_day:
        return f"not good through {date.fromordinal(kit.good_through_day).isoformat()}"
    if lot.own_depot_only and lot.depot != kit.depot:
        return "they may not leave their depot"
    if arrival_day(lot, kit.depot) > kit.staged_by_day:
        return f"not there by {date.fromordinal(kit.staged_by_day).isoformat()}"
    return ""


def _lots_of_pin(pin: Pin, supply: Supply, depot: int) -> list[int]:
    """Lots that a pin may hold: those it names, else any of its code; own depot first, then first to expire."""
    found: list[tuple[Lot, int]] = [
        (lot, index)
        for index, (lot, source) in enumerate(zip(supply.lots, supply.sources, strict=True))
        if source.stock_code == pin.stock_code and pin.lot in ("", source.lot) and pin.depot in ("", source.depot)
    ]
    found.sort(key=lambda pair: (pair[0].is_order, pair[0].depot != depot, pair[0].expiry_day, pair[0].walk))
    return [index for _, index in found]
