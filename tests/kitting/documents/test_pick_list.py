from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd

from kitting.calculation.plan_result import Plan
from kitting.documents import write_documents

Pages = dict[str, list[Any]]


def rows_of(path: Path, sheet: str) -> list[dict[str, Any]]:
    header, *rows = openpyxl.load_workbook(path)[sheet].iter_rows(values_only=True)
    return [dict(zip(header, row, strict=True)) for row in rows]


def test_bins_are_walked_in_natural_order_and_spares_come_last(written: dict[str, Path]) -> None:
    rows = rows_of(written["J03-pick-list-N.xlsx"], "take")
    places = [row["place"] for row in rows if row["spare"] == "no"]
    assert places.index("N-2-1") < places.index("N-10-2") < places.index("N-20-1") < places.index("S-01")
    assert [row["stock code"] for row in rows if row["spare"] == "yes"] == ["LUG-750C"]
    assert rows[-1]["spare"] == "yes"


def test_each_lot_has_its_row_with_its_use_by_and_its_bag(written: dict[str, Path]) -> None:
    rows = rows_of(written["J03-pick-list-N.xlsx"], "take")
    adapters = [(row["lot"], row["quantity"], row["bag"], row["for"]) for row in rows if row["stock code"] == "CA-4"]
    assert adapters == [("L-2509A", 4, 1, "V1-a, V1-b"), ("L-2501A", 2, 1, "V1-b"), ("L-2501A", 3, 2, "V2-a")]
    (fresh,) = (row["use by"] for row in rows if row["lot"] == "L-2509A")
    assert fresh.date().isoformat() == "2029-06-30"


def test_wire_is_picked_by_the_foot_and_not_by_the_spool(prints: Pages) -> None:
    """Trap T48: 4 ft an end, 12 ft in all, off one spool of 500 ft."""
    text = prints["J03-pick-list-N.pdf"][0].one_line
    assert "8 ft 1 V1-a, V1-b" in text
    assert "4 ft 2 V2-a" in text


def test_pieces_that_come_by_van_have_a_pick_list_at_their_own_depot(prints: Pages, written: dict[str, Path]) -> None:
    there = prints["J01-pick-list-H.pdf"][0].one_line
    assert "PICK LIST · H Harbor · send to N, there by Tue 2026-03-03" in there
    assert "2 ea" in there
    (row,) = rows_of(written["J01-pick-list-N.xlsx"], "not here")
    assert list(row.values()) == ["A2-a", "2 EL15-2", "transfer", "from H H-01-2; must be here by Tue 2026-03-03"]


def test_lines_that_are_short_or_open_are_listed_with_their_reason(prints: Pages) -> None:
    assert "3 EA15-15.3 SHORT EA15-15.3: MCOV 15.3 kV is at least 13.86 kV" in prints["J11-pick-list-M.pdf"][0].one_line
    vault = prints["J10-pick-list-H.pdf"][0].one_line
    assert "Nothing to pick at H for this job." in vault
    assert "NO RULE" in vault
    assert "did you mean 1/0 AWG?" in vault


def test_a_stand_in_is_marked_where_it_is_picked(prints: Pages, written: dict[str, Path]) -> None:
    assert "CC-10X STAND-IN for CC-10A" in " ".join(prints["J01-pick-list-N.pdf"][0].one_line.split())
    marked = {row["stock code"]: row["stand-in for"] for row in rows_of(written["J01-pick-list-N.xlsx"], "take")}
    assert marked == {"EL15-2": None, "CC-10A": None, "CC-10X": "CC-10A"}


def test_text_that_looks_like_a_formula_stays_text(written: dict[str, Path], prints: Pages) -> None:
    """Trap T41."""
    sheet = openpyxl.load_workbook(written["J03-pick-list-N.xlsx"])["take"]
    (cell,) = (cell for row in sheet.iter_rows() for cell in row if str(cell.value).startswith("=1+1"))
    assert cell.data_type == "s"
    assert "=1+1 wipes" in prints["J03-pick-list-N.pdf"][0].text


def test_a_long_list_repeats_its_head_on_every_page(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    wipes = plan.requirements[plan.requirements["stock_code"] == "CLN-W"]
    many = [wipes.assign(line=wipes["line"] + f"#{at}") for at in range(120)]
    promise = plan.promises[plan.promises["stock_code"] == "CLN-W"]
    promises = [promise.assign(line=promise["line"] + f"#{at}", place=f"Z-{at}") for at in range(120)]
    long = replace(
        plan,
        requirements=pd.concat([plan.requirements, *many], ignore_index=True),
        promises=pd.concat([plan.promises, *promises], ignore_index=True),
    )
    write_documents(long, tmp_path, jobs=["J03"])
    pages = pages_of(tmp_path / "J03-pick-list-N.pdf")
    assert len(pages) > 3
    assert all("Place Stock code Part Lot to take" in page.one_line for page in pages)
    together = " ".join(page.one_line for page in pages)
    assert all(f"Z-{at} CLN-W" in together for at in range(120))


def test_a_cell_that_is_taller_than_a_page_goes_on_over_pages(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    words = [f"word{at}" for at in range(3000)]
    requirements = plan.requirements.assign(
        reason=plan.requirements["reason"].where(plan.requirements["answer"] != "no rule", " ".join(words))
    )
    write_documents(replace(plan, requirements=requirements), tmp_path, jobs=["J10"])
    together = " ".join(page.one_line for page in pages_of(tmp_path / "J10-pick-list-H.pdf")).split()
    assert set(words) <= set(together)


def test_a_bag_keeps_its_revision_while_another_bag_of_the_job_changes(
    plan: Plan, written: dict[str, Path], pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    """Trap T49: a change at V2 leaves the printed bag of V1 good."""
    at_v2 = plan.requirements["structure"] == "V2"
    changed = plan.requirements.assign(stock_code=plan.requirements["stock_code"].where(~at_v2, "CA-3"))
    write_documents(replace(plan, requirements=changed), tmp_path, jobs=["J03"])

    def revisions(folder: Path) -> list[str]:
        pages = pages_of(folder / "J03-bag-labels-A6.pdf")
        return [page.one_line.split("REV ")[1][:6] for page in pages]

    before, after = revisions(written["J03-bag-labels-A6.pdf"].parent), revisions(tmp_path)
    assert before[0] == after[0]
    assert before[1] != after[-1]


def test_bags_at_two_depots_have_a_pick_list_each_and_one_for_what_is_sent(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    at_v2 = plan.requirements["structure"] == "V2"
    days = {"N": date(2026, 3, 10), "H": date(2026, 3, 9)}
    jobs = tuple(replace(one, days=days) if one.job == "J03" else one for one in plan.jobs)
    split = plan.requirements.assign(depot=plan.requirements["job"].map({"J03": "N"}).fillna("M").where(~at_v2, "H"))
    write_documents(replace(plan, requirements=split, jobs=jobs), tmp_path, jobs=["J03"])
    lists = {path.name for path in tmp_path.glob("J03-pick-list-*.pdf")}
    assert lists == {"J03-pick-list-N.pdf", "J03-pick-list-H.pdf", "J03-pick-list-N-to-H.pdf"}
    sent = " ".join(page.one_line for page in pages_of(tmp_path / "J03-pick-list-N-to-H.pdf"))
    assert "PICK LIST · N North Yard · send to H, there by Mon 2026-03-09" in sent
    assert {row["bag"] for row in rows_of(tmp_path / "J03-pick-list-N-to-H.xlsx", "take")} == {2}
    assert {row["bag"] for row in rows_of(tmp_path / "J03-pick-list-N.xlsx", "take")} == {1}
    there = " ".join(page.one_line for page in pages_of(tmp_path / "J03-pick-list-H.pdf"))
    assert "staged by Mon 2026-03-09 · depot H Harbor" in there
    assert "2 of 2 V2" in there
    assert "1 of 2 V1" not in there
    labels = [page.one_line for page in pages_of(tmp_path / "J03-bag-labels-A6.pdf")]
    assert next("STAGED AT DEPOT H Harbor" in label for label in labels if "BAG 2 OF 2" in label)
    assert "STAGED AT DEPOT N North Yard" in labels[0]
    cards = " ".join(page.one_line for page in pages_of(tmp_path / "J03-night-cards.pdf"))
    assert "depot H Harbor" in cards
