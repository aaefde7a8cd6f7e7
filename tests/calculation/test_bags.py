import pandas as pd

from kitting.calculation.bags import assign_bags

COLUMNS = ["line", "structure", "stock_code", "quantity", "spare"]


def bags(*rows: tuple[object, ...]) -> dict[str, int]:
    placed = assign_bags(pd.DataFrame(list(rows), columns=COLUMNS, dtype=object))
    return dict(zip(placed["line"], placed["bag"], strict=True))


def test_each_structure_has_one_bag_in_natural_order() -> None:
    assert bags(("a", "V10", "X", 1, "no"), ("b", "V9", "X", 1, "no"), ("c", "V10", "", "", "no")) == {
        "a": 2,
        "b": 1,
        "c": 2,
    }


def test_a_spare_travels_with_the_structure_that_uses_most_of_its_code() -> None:
    lines = [("a", "V1", "JS-3", 3, "no"), ("b", "V2", "JS-3", 3, "no"), ("c", "V2", "JS-3", 3, "no")]
    assert bags(*lines, ("spare", "", "JS-3", 1, "yes"))["spare"] == 2
    assert bags(*lines[:2], ("spare", "", "JS-3", 1, "yes"))["spare"] == 1, "the first bag among equals"


def test_what_serves_the_whole_job_goes_into_the_first_bag() -> None:
    lines = [("a", "V1", "LUG", 1, "no"), ("b", "V2", "CLN-W", 9, "no")]
    assert bags(*lines, ("wipes", "", "CLN-W", 1, "no"))["wipes"] == 1


def test_a_job_that_names_no_structure_has_one_bag() -> None:
    placed = assign_bags(pd.DataFrame([("r7", "", "", "", "no")], columns=COLUMNS, dtype=object))
    assert placed.to_dict("records") == [{"line": "r7", "bag": 1, "bags": 1, "structure": ""}]
