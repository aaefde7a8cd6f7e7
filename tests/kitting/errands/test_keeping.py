"""What an errand keeps beside it reads again as it was."""

from datetime import date
from pathlib import Path

from record_books import everything

from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.documents import pick_list_of, write_documents
from kitting.errands.keeping import packed_plan, packed_sheets, unpacked_plan, unpacked_sheets


def test_a_kept_plan_of_a_job_at_two_depots_prints_the_papers_that_it_had(tmp_path: Path) -> None:
    sheets = everything()
    made = plan(read_book(sheets), as_of=date(2026, 3, 2))
    (job,) = (one for one in made.jobs if one.job == "J1")
    assert [*job.days] == ["H", "N"]
    kept = unpacked_plan(packed_plan(made), unpacked_sheets(packed_sheets(sheets)))
    assert kept.jobs == made.jobs
    papers = [[path.read_bytes() for path in write_documents(one, tmp_path / name)]
              for name, one in (("made", made), ("kept", kept))]  # fmt: skip
    assert papers[0] == papers[1]
    assert pick_list_of(kept, "J1-pick-list-H.pdf")
