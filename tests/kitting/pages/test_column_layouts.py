import tomllib
from io import BytesIO
from pathlib import Path

import pytest
from bag_stores import demo_sheets, planned
from browsing import browser_of, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from foreign_list import CELLS, COLUMNS, HEADINGS, LIST, RUNS, SAID, TITLE, WHERE
from module_books import books_of_module
from openpyxl import Workbook
from people import AUDITOR, CREW, PLANNER

from jobs.models import Job, Run, ScheduleRevision
from kitting.models import Errand, Event, KeptLayout
from kitting.spreadsheets.column_layout import adopt
from kitting.spreadsheets.layout_file import read_layout

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def read(client: Client, text: str = LIST, name: str = "dock list.csv") -> str:
    """What the page says after a list was sent."""
    return words(send(client, "/files", files=SimpleUploadedFile(name, text.encode())))


def errand() -> Errand:
    return Errand.objects.order_by("-pk")[0]


def columns() -> str:
    return f"/files/{errand().pk}/columns"


def kept(client: Client, **changed: str) -> str:
    """What the page says after the layout of the list was said and kept."""
    if not Errand.objects.exists():
        read(client)
    return words(send(client, columns(), **WHERE, **{**SAID, **CELLS, **changed}, step="cells", keep="yes"))


def test_a_list_nobody_has_told_of_is_shown_with_its_headings_and_nothing_of_it_is_read(planner: Client) -> None:
    seen = read(planner)

    assert "NOT IN OUR FORM dock list: 5 rows" in seen  # with the true headings, which stand in row 3
    assert "Store" not in seen
    asked = words(planner.get(columns()))
    assert "row 3 WO | Cable | Net" in asked
    assert 'option value="3" selected' in planner.get(columns()).content.decode()


def test_a_guess_is_shown_as_a_guess_and_never_taken_by_itself(planner: Client) -> None:
    read(planner)
    page = planner.get(columns(), WHERE)
    (run,) = [one for one in page.context["rows"] if one["heading"] == "Cable"]
    (pad,) = [one for one in page.context["rows"] if one["heading"] == "From pad"]

    assert (pad["guess"], pad["chosen"]) == ("from structure", "")
    assert (run["guess"], run["chosen"]) == ("run", "")
    taken = planner.get(columns(), {**WHERE, "guesses": "taken"})
    (pad,) = [one for one in taken.context["rows"] if one["heading"] == "From pad"]
    assert (pad["chosen"], pad["is_guess"]) == ("from structure", True)
    assert "GUESSES" in words(taken)


def test_every_heading_is_said_or_left_out_on_purpose_and_none_twice(planner: Client) -> None:
    read(planner)
    silent = words(send(planner, columns(), **WHERE, **{**SAID, "is-11": ""}))
    twice = words(send(planner, columns(), **WHERE, **{**SAID, "is-11": "run"}))
    no_run = words(send(planner, columns(), **WHERE, **{**SAID, "is-1": "remarks"}))
    whole = words(send(planner, columns(), **WHERE, **SAID))

    assert "Say of each heading what it is, or that it is not used, on purpose: Drawing." in silent
    assert "Cable and Drawing are both said to be run" in twice
    assert "No heading is run: nothing would tell the rows apart." in no_run
    assert "How are the cells of dock list written?" in whole
    assert "“3” means" in whole
    assert not KeptLayout.objects.exists()


def test_a_unit_that_nobody_has_said_is_asked_and_what_was_typed_stays(planner: Client) -> None:
    read(planner)
    page = send(planner, columns(), **WHERE, **{**SAID, **CELLS, "unit-5": ""}, step="cells", keep="yes")
    seen = words(page)

    assert page.context["name"] == "Dock contractor"
    assert "Say the unit of Ins. dia, or that each cell names its own." in seen
    assert not KeptLayout.objects.exists()


def test_a_list_is_read_by_the_layout_that_was_said_and_stored_when_told_to(planner: Client) -> None:
    seen = kept(planner)

    assert "dock list was read by the column layout Dock contractor, revision 1" in seen
    assert "EVERY CELL IS READ" in seen
    assert "schedule 4 4 0 0" in seen
    assert ScheduleRevision.objects.filter(job__job="J05").count() == 1
    stored = words(send(planner, f"/files/{errand().pk}", store="yes"))
    assert "Read by the column layout Dock contractor, revision 1" in stored
    assert "J05 revision B" in stored
    run = Run.objects.get(revision__job__job="J05", revision__live=True, run="2")
    assert (run.doi_low_nm, run.length_nm, run.phases) == (23_600_000, 120_250_000_000, "ABC")
    assert Event.objects.filter(name="column layout kept", by=PLANNER.name).exists()


def test_the_books_beside_a_file_that_does_not_hold_all_are_read_once(planner: Client) -> None:
    with CaptureQueriesContext(connection) as queries:
        seen = read(planner, "job,title,depot\nJ05,Alder Loop,N\n", "jobs.csv")
    assert "jobs 1 1 0 0" in seen
    assert sum('FROM "jobs_reel"' in one["sql"] for one in queries) == 1


def test_the_next_list_of_the_shape_is_read_without_asking_and_compared_run_by_run(planner: Client) -> None:
    kept(planner)
    send(planner, f"/files/{errand().pk}", store="yes")
    other = "Rev B of 2026-03-04\n" + HEADINGS + RUNS.replace("120,25", "121,5")
    seen = read(planner, other.replace("J05;4;", "J05;5;"), "sent on wednesday.csv")
    assert "1 GONE Job J05 has a run now that this file does not name" in seen
    assert "J05 1 new, 1 changed, 1 gone, 2 same 5 2 Run 2: length (m): 120.25, now 121.5 4 –" in seen
    assert ScheduleRevision.objects.filter(job__job="J05").count() == 2  # nothing is stored by looking
    seen = read(planner, other, "sent on wednesday.csv")
    stored = words(send(planner, f"/files/{errand().pk}", store="yes"))

    assert "EVERY CELL IS READ" in seen
    assert "was read by the column layout Dock contractor, revision 1" in seen
    assert "J05 revision C 1 changed, 3 same" in stored, stored


def test_headings_in_another_order_are_another_shape_and_asked_about(planner: Client) -> None:
    kept(planner)
    turned = HEADINGS.replace("WO;Cable", "Cable;WO") + RUNS
    assert "NOT IN OUR FORM" in read(planner, turned, "turned.csv")


def test_what_is_in_doubt_in_a_cell_is_asked_at_our_column_with_the_row_of_the_list(planner: Client) -> None:
    kept(planner)
    seen = read(planner, LIST.replace("23,62", "23.62").replace("S20M;3;CT-15", "S20M;AB0;CT-15"))

    assert "2 TO SETTLE" in seen
    assert "schedule, row 6, DOI low" in seen
    assert "has a point, and the column layout says that commas are the decimal mark" in seen
    assert "schedule, row 4, phases Reads AB0" in seen
    assert "schedule 4 2 1 1" in seen  # good, to ask about, refused


def test_what_no_heading_gives_is_said_with_each_list(planner: Client) -> None:
    text = LIST.replace("WO;", "Drawn by;").replace("J05;", "C. Hall;")
    read(planner, text)
    said = {**SAID, **CELLS, "is-0": "not used, on purpose"}
    seen = words(send(planner, columns(), **WHERE, **said, step="cells", keep="yes"))
    assert "SAY WITH THIS LIST" in seen

    told = words(send(planner, f"/files/{errand().pk}", **{"said-job": "J05"}))
    assert "EVERY CELL IS READ" in told
    changed = {**said, "name": "Dock"}
    again = words(send(planner, columns(), **WHERE, **changed, step="cells", keep="yes"))
    assert "EVERY CELL IS READ" in again  # said anew, the list still has what was said with it
    assert "J05 revision B" in words(send(planner, f"/files/{errand().pk}", store="yes"))


def test_what_was_looked_at_is_stored_by_the_layout_it_was_looked_at_with(planner: Client) -> None:
    kept(planner)
    looked = errand().pk
    kept(planner, **{"unit-10": "ft"})
    send(planner, f"/files/{looked}", store="yes")

    run = Run.objects.get(revision__job__job="J05", revision__live=True, run="2")
    assert run.length_nm == 120_250_000_000  # metres, as revision 1 said


def test_a_layout_is_replaced_by_a_new_revision_and_withdrawn_with_a_reason(planner: Client) -> None:
    kept(planner)
    again = planner.get(f"{columns()}?sheet=dock+list")
    assert {one["heading"]: one["chosen"] for one in again.context["rows"]} == COLUMNS  # as it was said
    assert "says the same already" in kept(planner)
    assert "revision 2" in kept(planner, **{"unit-10": "ft"})

    first, second = KeptLayout.objects.order_by("revision")
    assert (first.live, first.ended_why) == (False, "replaced by Dock contractor, revision 2")
    listed = words(planner.get("/layouts"))
    assert "Dock contractor, revision 2 live R. Tolley" in listed
    assert "Dock contractor, revision 1 replaced by Dock contractor, revision 2" in listed

    silent = words(send(planner, f"/layouts/{second.pk}", reason=" "))
    assert "Say why the layout is withdrawn." in silent
    assert "WITHDRAWN" in words(send(planner, f"/layouts/{second.pk}", reason="the contractor has left"))
    assert "not live any more" in words(send(planner, f"/layouts/{second.pk}", reason="again"))
    assert "NOT IN OUR FORM" in read(planner)
    assert "the contractor has left" in words(planner.get(f"/layouts/{second.pk}"))


def test_a_layout_is_the_same_file_that_commands_take(planner: Client, tmp_path: Path) -> None:
    kept(planner)
    layout = KeptLayout.objects.get()
    sent = planner.get(f"/layouts/{layout.pk}.toml")
    path = tmp_path / "dock.toml"
    path.write_bytes(sent.content)

    assert sent["Content-Disposition"] == 'attachment; filename="dock_contractor_1.toml"'
    assert tomllib.loads(layout.text)["translate"] == {"Ph": {"3": "ABC"}}
    assert read_layout(path).header_row == 3
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    by_command = adopt(path, tmp_path / "list.csv").sheets["schedule"]
    send(planner, f"/files/{errand().pk}", store="yes")
    runs = Run.objects.filter(revision__job__job="J05", revision__live=True)
    assert runs.count() == len(by_command.cells) == 4


def test_a_layout_that_was_written_as_a_file_is_kept_only_if_it_says_all_of_the_list(planner: Client) -> None:
    read(planner)
    parts = '[schedule]\njob = "J05"\nrun = "{Cable}"\nsystem = "{Net}"\nphases = "ABC"\nlength = "{Route length} m"\n'
    ends = '"from structure" = "{From pad}"\n"from position" = "{Bushing}"\n"to structure" = "{To pad}"\n'
    text = f'unused = ["WO", "Ph", "Kind of cable", "Ins. dia"]\n{parts}{ends}"to position" = "{{Bushing #2}}"\n'

    def sent(content: str) -> str:
        file = SimpleUploadedFile("dock.toml", content.encode())
        return words(send(planner, columns(), **WHERE, layout=file, name="Dock by hand", keep="file"))

    no_file = send(planner, columns(), **WHERE, **SAID, name="Dock by hand", keep="file")
    assert "Choose the file of the layout (.toml) first." in words(no_file)
    assert no_file.content.decode().count('value="Dock by hand"') == 1
    assert "The layout says nothing of Drawing" in sent(text)
    assert "reads columns that this list lacks: Colour" in sent(text.replace("{Net}", "{Colour}"))
    assert "it is not TOML in UTF-8" in sent("[schedule")
    assert not KeptLayout.objects.exists()
    whole = text.replace('"WO"', '"WO", "Drawing"')
    assert "read by the column layout Dock by hand, revision 1" in sent(whole)
    page = planner.get(f"/layouts/{KeptLayout.objects.get().pk}")
    assert "It says more than can be shown here" in words(page)


def test_who_sends_sheets_says_what_columns_are_and_an_auditor_looks(planner: Client) -> None:
    kept(planner)
    number = KeptLayout.objects.get().pk
    address = columns()

    assert "Who sends sheets says what the columns are." in words(browser_of(AUDITOR).get(address))
    assert browser_of(AUDITOR).post(address, {**WHERE, **SAID, **CELLS, "keep": "yes"}).status_code == 403
    assert browser_of(AUDITOR).get(f"/layouts/{number}").status_code == 200
    assert browser_of(CREW).get("/layouts").status_code == 403
    assert planner.get("/layouts/999").status_code == 404
    assert planner.get(columns().replace(str(errand().pk), "999")).status_code == 404


def test_the_list_of_layouts_takes_the_same_number_of_queries_however_many_there_are(planner: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            planner.get("/layouts")
        return len(taken)

    kept(planner)
    queries()
    before = queries()
    one = KeptLayout.objects.get()
    KeptLayout.objects.bulk_create(
        KeptLayout(name=f"L{n}", revision=1, shape=str(n), headings=[], text="", kept_by="x", kept_at=one.kept_at)
        for n in range(50)
    )
    assert queries() == before


def test_a_name_stands_for_one_shape(planner: Client) -> None:
    kept(planner)
    read(planner, TITLE + HEADINGS.replace("Drawing", "Sheet") + RUNS)
    seen = words(send(planner, columns(), **WHERE, **SAID, **CELLS, step="cells", keep="yes"))
    assert "reads lists with other headings" in seen
    assert KeptLayout.objects.count() == 1


def test_cells_that_read_the_same_are_answered_together_and_each_by_itself_where_it_differs(planner: Client) -> None:
    kept(planner)
    seen = read(planner, LIST.replace("S20M", "20M"))
    number = errand().pk
    (group,) = planner.get(f"/files/{number}").context["questions"]
    first, *_, last = [one["at"] for one in group["all"]]

    assert "4 TO SETTLE" in seen
    assert "schedule, 4 rows, system Each reads 20M" in seen
    one = words(send(planner, f"/files/{number}", **{f"answer-{last}": "S20M"}))
    assert "3 TO SETTLE" in one
    every = words(send(planner, f"/files/{number}", **{f"all-{first}": "S20M", f"answer-{last}": "(blank)"}))
    assert "1 TO SETTLE" in every
    assert "schedule, row 7, system Reads blank" in every


def test_a_list_in_a_workbook_keeps_its_numbers_and_says_what_is_hidden_and_which_sheet_is_left_out(
    planner: Client,
) -> None:
    book = Workbook()
    book["Sheet"].append(["Dock contractor", "2026"])
    sheet = book.create_sheet("Dock list")
    rows = [line.split(";") for line in RUNS.splitlines()]
    for row in ([], [], HEADINGS.strip().split(";"), *rows):
        sheet.append([float(cell.replace(",", ".")) if "," in cell else cell for cell in row])
    sheet["F4"] = "=1+1"
    sheet.row_dimensions[6].hidden = True
    content = BytesIO()
    book.save(content)

    def sent(name: str) -> str:
        return words(send(planner, "/files", files=SimpleUploadedFile(name, content.getvalue())))

    assert "NOT IN OUR FORM dock list: 4 rows" in sent("dock.xlsx")
    seen = kept(planner)
    assert "1 TO SETTLE" in seen
    assert "schedule, row 4, DOI low Reads blank : holds a formula that was never calculated" in seen
    assert "row 6 is hidden; it was read" in seen
    assert "NOT IN OUR FORM sheet: 0 rows" in seen
    assert tomllib.loads(KeptLayout.objects.get().text)["list"] == {"sheet": "dock list", "header_row": 3}
    (one,) = planner.get(f"/files/{errand().pk}").context["questions"]
    settled = words(send(planner, f"/files/{errand().pk}", **{f"answer-{one['at']}": "29.9"}))
    assert "Nothing is stored yet, and what is not in our form will not be." in settled
    assert "STORED" in words(send(planner, f"/files/{errand().pk}", store="yes"))
    run = Run.objects.get(revision__job__job="J05", revision__live=True, run="2")
    assert (run.doi_low_nm, run.length_nm) == (23_600_000, 120_250_000_000)


def test_a_column_that_is_none_of_ours_is_left_out_only_when_told(planner: Client) -> None:
    seen = read(planner, "job,title,depot,crew size\nJ98,Quay 2,H,4\n", "jobs.csv")
    number = errand().pk

    assert "Leave out, on purpose: crew size (jobs)" in seen
    silent = words(send(planner, f"/files/{number}", store="yes"))
    assert "Say that crew size (jobs) are left out on purpose" in silent
    assert not Job.objects.filter(job="J98").exists()
    assert "STORED" in words(send(planner, f"/files/{number}", store="yes", **{"left-out": "yes"}))
    assert Job.objects.get(job="J98").title == "Quay 2"
