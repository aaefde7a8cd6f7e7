"""The store of lines: two integers a line, and the owners and distinct templates they point to."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from kitting.calculation.expansion.slots import Template
from kitting.calculation.natural_order import natural_rank

SPARE_ENDING = "/spare"  # how the name of a spare line ends
SIDES = ("from", "to", "joint", "position", "location", "job")
SIDE_FROM, SIDE_TO, SIDE_JOINT, SIDE_POSITION, SIDE_LOCATION, SIDE_JOB = range(len(SIDES))


class Owner(NamedTuple):
    """What lines belong to (job to phases), and its row on its sheet."""

    job: str
    run: str
    side: int
    structure: str
    position: str
    phases: str
    sheet_row: int


@dataclass(slots=True)
class Lines:
    """Lines in the making: for each its owner's number and its template's number."""

    templates: list[Template] = field(default_factory=list)
    owners: list[Owner] = field(default_factory=list)
    owner_of: list[int] = field(default_factory=list)
    template_of: list[int] = field(default_factory=list)
    _numbers: dict[int, int] = field(default_factory=dict)  # by identity: the list keeps each template alive

    def keep(self, templates: list[Template]) -> tuple[int, ...]:
        """Store templates and return their numbers, to be used for every owner with equal facts."""
        return tuple(map(self._number, templates))

    def _number(self, template: Template) -> int:
        number = self._numbers.setdefault(id(template), len(self.templates))
        if number == len(self.templates):
            self.templates.append(template)
        return number

    def add(
        self,
        numbers: tuple[int, ...],
        *,
        job: str,
        run: str = "",
        side: int,
        structure: str = "",
        position: str = "",
        phases: str = "",
        row: int = 0,
    ) -> None:
        """One line for each template number, for one owner."""
        self.owner_of.extend([len(self.owners)] * len(numbers))
        self.template_of.extend(numbers)
        self.owners.append(Owner(job, run, side, structure, position, phases, row))

    def only(self, places: Sequence[int]) -> "Lines":
        """The lines at these places."""
        owner_of, template_of = ([column[place] for place in places] for column in (self.owner_of, self.template_of))
        return Lines(self.templates, self.owners, owner_of, template_of, self._numbers)

    def frame(self) -> pd.DataFrame:
        """All lines in line order.

        Columns: job, run, structure, position, phases (categorical text), side, template and sheet_row (integers),
        source (place of the line in the order it was added), occurrence (1, 2, … among equal kinds of one owner).
        """
        owner_of = np.array(self.owner_of, dtype=np.int32)
        columns: list[Any] = [list(column) for column in zip(*self.owners, strict=True)] or [[] for _ in Owner._fields]
        frame = pd.DataFrame(
            {name: _packed(name, column, owner_of) for name, column in zip(Owner._fields, columns, strict=True)}
        )
        template = np.array(self.template_of, dtype=np.int32)
        rule_order = np.array([template.order for template in self.templates], dtype=np.int64)
        spare = np.array([template.spare for template in self.templates], dtype=bool)
        frame["template"] = template
        frame["source"] = np.arange(len(frame), dtype=np.int32)
        kinds = pd.Categorical([template.kind for template in self.templates])
        keys = [
            rule_order[template] if len(rule_order) else template,
            _rank(frame["phases"]),
            _rank(frame["position"]),
            _rank(frame["structure"]),
            frame["side"].to_numpy(),
            _rank(frame["run"], blank_last=True),
            spare[template] if len(spare) else template,
            _rank(frame["job"]),
        ]
        frame = frame.iloc[np.lexsort(keys)].reset_index(drop=True)
        kind_codes = np.asarray(kinds.codes)[frame["template"].to_numpy()] if len(rule_order) else []
        owner = [frame[name].cat.codes for name in ("job", "run", "structure", "position", "phases")]
        frame["occurrence"] = frame.groupby([*owner, frame["side"], kind_codes], sort=False).cumcount() + 1
        return frame


def _packed(name: str, column: list[Any], owner_of: np.ndarray) -> "np.ndarray | pd.Categorical":
    """A fact of the owners -> a column of lines, texts stored once."""
    if name in ("side", "sheet_row"):
        numbers: np.ndarray = np.array(column, dtype=np.int32)[owner_of]
        return numbers
    texts = pd.Categorical(column, categories=sorted(set(column)))
    return pd.Categorical.from_codes(np.asarray(texts.codes)[owner_of], categories=texts.categories)


def _rank(column: pd.Series, *, blank_last: bool = False) -> np.ndarray:
    """Integers that sort as the texts do in natural order."""
    texts = list(column.cat.categories)
    ranks = natural_rank(texts)
    last = len(texts) + 1
    by_code = np.array([last if blank_last and not text else ranks[text] for text in texts], dtype=np.int64)
    codes = column.cat.codes.to_numpy()
    return by_code[codes] if len(by_code) else codes.astype(np.int64)


def line_texts(frame: pd.DataFrame, templates: list[Template]) -> list[str]:
    """The name of each line, made from what it is: ``J03/V1-a/r1-from/ABC/cable adapter``.

    Args:
        frame: lines as ``Lines.frame`` makes them.
        templates: the templates they point to.
    """
    job, run, structure, position, phases = (
        frame[name].astype(str).tolist() for name in ("job", "run", "structure", "position", "phases")
    )
    whats = [_what(template) for template in templates]
    numbers = (frame[name].tolist() for name in ("side", "template", "occurrence"))
    return [
        _text(j, r, s, p, letters, side, whats[template], occurrence)
        for j, r, s, p, letters, side, template, occurrence in zip(
            job, run, structure, position, phases, *numbers, strict=True
        )
    ]


def _what(template: Template) -> str:
    if template.spare and template.need is not None:
        return f"{template.kind}/{template.need.fixed_code}{SPARE_ENDING}"
    return template.kind


def _text(job: str, run: str, structure: str, position: str, phases: str, side: int, what: str, occurrence: int) -> str:
    again = f"#{occurrence}" if occurrence > 1 and not what.endswith(SPARE_ENDING) else ""
    if side <= SIDE_TO:
        return f"{job}/{structure}-{position}/r{run}-{SIDES[side]}/{phases}/{what}{again}"
    if run:
        return f"{job}/r{run}/{SIDES[side]}/{phases}/{what}" if phases else f"{job}/r{run}/{what}"
    if side <= SIDE_POSITION:
        return f"{job}/{structure}-{position}/{SIDES[side]}/{phases}/{what}{again}"
    if side == SIDE_LOCATION:
        return f"{job}/{structure}/location/{what}{again}"
    return f"{job}/job/{what}{again}"
