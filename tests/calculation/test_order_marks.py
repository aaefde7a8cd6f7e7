"""Until when what a job lacks can still be ordered."""

from kitting.calculation.order_marks import order_marks


def test_what_is_too_late_comes_first_then_what_nobody_can_tell_then_the_earliest_day_and_spares_last() -> None:
    rows = [
        ("J08", "x", "CA-6", "2026-03-20", "no"),
        ("J08", "J08/job/lug/LUG-1/spare", "LUG-1", "2026-01-01", "yes"),
        ("J08", "x", "BI35L", "2026-01-08", "yes"),
        ("J08", "x", "CA-6", "2026-03-10", "no"),
        ("J08", "x", "JS-4", "can't tell", ""),
        ("J08", "x", "", "", ""),  # a line that no stock code serves is standards' business
        ("J09", "x", "CS25-2", "2026-03-18", "no"),
    ]
    told = {job: [mark.words for mark in marks] for job, marks in order_marks(rows).items()}
    assert told == {
        "J08": [
            "TOO LATE: BI35L, last day was 2026-01-08", "JS-4: can't tell, its lead days are not known",
            "CA-6 by 2026-03-10", "TOO LATE: spare LUG-1, last day was 2026-01-01",
        ],
        "J09": ["CS25-2 by 2026-03-18"],
    }  # fmt: skip
