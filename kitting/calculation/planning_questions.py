"""Questions that only planning finds: a blank that a rule or a check reads, or every candidate at measure."""

from collections.abc import Iterator, Sequence

import pandas as pd

from kitting.calculation.answers import CANT_TELL
from kitting.calculation.expansion.landings import Field
from kitting.calculation.expansion.lines import SIDE_JOINT, SIDE_TO
from kitting.calculation.expansion.scene import Scene
from kitting.calculation.expansion.slots import Template
from kitting.calculation.questions import ASK, Missing, Question


def planning_questions(
    scene: Scene, frame: pd.DataFrame, templates: Sequence[Template], already: Sequence[Question]
) -> list[Question]:
    """One question a cell, for every line that can't tell because a fact is missing.

    Args:
        scene: where the lines came from.
        frame: lines in line order.
        templates: the templates they point to.
        already: what reading has asked; the same cell is not asked twice.
    """
    asked = {(question.sheet, question.row, question.column) for question in already}
    open_templates = {
        number
        for number, template in enumerate(templates)
        if template.answer == CANT_TELL and any(not missing.asked for missing in template.missing)
    }
    questions: list[Question] = []
    lines = frame[frame["template"].isin(open_templates)]
    for line in lines.itertuples(index=False):
        template = templates[int(line.template)]  # type: ignore[arg-type]  # an integer column
        for missing in template.missing:
            for row in () if missing.asked else _rows(scene, line, missing):
                cell = (missing.sheet, row, missing.column)
                if cell not in asked:
                    asked.add(cell)
                    questions.append(_question(missing, row, template))
    return questions


def _question(missing: Missing, row: int, template: Template) -> Question:
    labels = " or ".join(label for label, _ in missing.options)
    problem = f"{missing.why} ({template.kind})" if template.need is None else template.sentence
    suggestion = labels or f"give {missing.column}"
    return Question(missing.sheet, row, missing.column, "", problem, suggestion, ASK)


def _rows(scene: Scene, line: "pd.core.frame.Pandas", missing: Missing) -> Iterator[int]:  # type: ignore[name-defined]
    """The sheet rows where the fact is expected: the missing fact's own, else those of the line's owner."""
    field: Field = scene.field
    key = (str(line.structure), str(line.position))
    position = field.positions.get(key)
    if missing.row:
        yield missing.row
    elif missing.sheet == "schedule" and (line.side <= SIDE_TO or position is None):
        yield int(line.sheet_row)
    elif missing.sheet == "schedule" and position is not None:
        runs = [field.runs[index] for index, _ in position.landings]
        concerned = [run for run in runs if any(_holds(cable, missing) for _, cable in run.cables)]
        yield from (run.row for run in concerned or runs[:1])
    elif missing.sheet == "positions" and position is not None:
        yield int(position.facts["row"])
    elif missing.sheet == "systems" and position is not None:
        systems = scene.book.frames["systems"]
        codes = {field.runs[index].system for index, _ in position.landings}
        yield from (int(row) for row in systems.loc[systems["system"].isin(codes), "row"])
    else:
        yield int(line.sheet_row) if line.side <= SIDE_JOINT else 0


def _holds(cable: object, missing: Missing) -> bool:
    return any(getattr(cable, field) == missing for field in cable.__slots__)  # type: ignore[attr-defined]
