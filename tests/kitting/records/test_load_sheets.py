"""Loading planning sheets: questions first, all or nothing, and what a later file changes, leaves and withdraws."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from record_books import EVERYTHING, RUNS, STOCK, everything, load, rows_in_every_table

from inventory.models import Balance, Depot, Item, Movement, OldCode, OrderLine
from jobs.models import Job, Run, ScheduleRevision
from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal
from kitting.models import AddedLine, Answer, Event, Pin, Policy, RuleDraft, RuleRevision, StandIn
from kitting.selectors.sheets import sheets_from_records
from kitting.services import load_sheets as use_case
from kitting.services.load_sheets import Loaded
from kitting.services.upsert_rows import SheetChanges

pytestmark = pytest.mark.django_db

ANSWERS = "sheet,key,column,read,value,by,on"


def asked(raw: RawBook) -> list[str]:
    """What loading asks, as sheet, row, column and problem; nothing is stored then."""
    before = rows_in_every_table()
    with pytest.raises(Refusal) as refused:
        load(raw)
    assert refused.value.code == "questions-open"
    assert rows_in_every_table() == before
    found = [one for one in refused.value.data["questions"] if one.severity != NOTE]
    return [f"{one.sheet} {one.row} {one.column}: {one.problem}" for one in found]


def changes(loaded: Loaded, sheet: str) -> SheetChanges:
    return next(one for one in loaded.sheets if one.sheet == sheet)


def test_every_sheet_is_kept_and_the_same_sheets_twice_change_nothing() -> None:
    first = load(everything())
    assert all(one.new for one in first.sheets)
    stored = rows_in_every_table()
    again = load(everything())
    assert not again
    assert rows_in_every_table() == stored
    assert set(Item.objects.values_list("version", flat=True)) == {1}


def test_questions_come_first_and_nothing_is_stored() -> None:
    faulty = everything(stock=f'{STOCK}\nEL-1,N,A-1,bin,L-1,,"2,5"\nEL-9,N,A-1,bin,,,1')
    found = asked(faulty)
    assert [line.split(":")[0] for line in found] == ["stock 2 quantity", "stock 3 stock code"]
    load(everything())


def test_a_fault_halfway_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("the disk is full")

    before = rows_in_every_table()
    with monkeypatch.context() as patch:
        patch.setattr(use_case, "record_events", fails)
        with pytest.raises(RuntimeError):
            load(everything())
    assert rows_in_every_table() == before
    load(everything())


def test_the_same_schedule_twice_makes_no_revision_and_one_changed_row_makes_one() -> None:
    """Trap T26: of revision B, one run of four is changed and three are the same."""
    load(everything())
    assert not any(one.is_new for one in load(everything()).schedules)
    changed = [*RUNS[:3], RUNS[3].replace("CT-A", "CT-B")]
    (revised,) = load(everything(schedule="\n".join(changed))).schedules
    assert (revised.job, revised.letter, str(revised.changes)) == ("J1", "B", "1 changed, 3 same")
    assert ScheduleRevision.objects.count() == 2
    assert Run.objects.filter(revision__live=True).count() == 4
    assert Run.objects.get(revision__letter="A", run="4").cable_type.cable_type == "CT-A"


def test_a_schedule_is_replaced_for_its_own_job_only() -> None:
    other = "J2,1,S12,ABC,CT-A,P1,a,P5,a"
    load(everything(schedule="\n".join([*RUNS, other])))
    (revised,) = load(everything(schedule="\n".join(RUNS[:2]))).schedules
    assert (revised.job, revised.changes.gone) == ("J1", ("3", "4"))
    assert Run.objects.filter(revision__live=True, revision__job__job="J2").count() == 1


def test_what_a_later_file_does_not_name_stays_and_is_told() -> None:
    load(everything())
    jobs = "job,title,depot,cutover\nJ1,First,N,2026-03-20 08:00"
    loaded = load(everything(jobs=jobs, stock=f"{STOCK}\nEL-2,N,A-2,bin,,,6"))
    assert changes(loaded, "jobs").staying == ("J2",)
    assert len(changes(loaded, "stock").staying) == 2
    assert Job.objects.filter(job="J2").exists()
    assert Balance.objects.count() == 3


def test_a_list_without_keys_is_what_its_sheet_says_and_stays_where_there_is_no_sheet() -> None:
    load(everything())
    pins = EVERYTHING["pins"]
    without = {name: text for name, text in EVERYTHING.items() if name not in {"pins", "stand_ins"}}
    loaded = load(everything(**without, pins=pins.splitlines()[0] + "\n" + pins.splitlines()[1].replace(",3,", ",4,")))
    assert len(changes(loaded, "pins").withdrawn) == 1
    assert list(Pin.objects.values_list("quantity", flat=True)) == [4_000]
    event = Event.objects.filter(name="sheets loaded").latest("number")
    assert "R. Tolley" in event.data["sheets"]["pins"]["withdrawn"][0]


def test_two_equal_pins_are_two() -> None:
    pin = EVERYTHING["pins"]
    twice = everything(pins=f"{pin}\n{pin.splitlines()[1]}")
    load(twice)
    assert Pin.objects.count() == 2
    assert not load(twice)
    load(everything())
    assert Pin.objects.count() == 1


def test_a_changed_fact_raises_the_version_and_the_event_says_what_it_was() -> None:
    load(everything())
    before = Event.objects.count()
    jobs = "job,title,depot,cutover\nJ1,First,H,2026-03-27 08:00\nJ2,Second,N,2026-04-20 08:00"
    loaded = load(everything(jobs=jobs), by="M. Osei")
    assert dict(changes(loaded, "jobs").changed) == {
        "J1": {"depot": ("N", "H"), "cutover": ("2026-03-20 08:00", "2026-03-27 08:00")}
    }
    assert dict(Job.objects.values_list("job", "version")) == {"J1": 2, "J2": 1}
    event, told, left = Event.objects.filter(number__gt=before).order_by("number")
    assert (event.name, event.by) == ("sheets loaded", "M. Osei")
    assert event.data["sheets"]["jobs"]["changed"]["J1"]["depot"] == ["N", "H"]
    assert (told.name, told.subject, told.addressed_to, told.depot) == ("job moved", "J1", "storekeeper", "H")
    assert (left.name, left.subject, left.addressed_to, left.depot) == ("job moved", "J1", "storekeeper", "N")


def test_answers_are_kept_and_hold_for_later_files_whose_cells_still_read_so() -> None:
    header = "job,run,system,phases,cable type,conductor size,from structure,from position,to structure,to position"
    rows = [
        run.replace("CT-A,", ",1 AWG,", 1) if run.startswith("J1,4") else run.replace("CT-A,", "CT-A,,", 1)
        for run in RUNS
    ]
    schedule = "\n".join([header, *rows])
    found = asked(everything(schedule=schedule))
    assert found == ["schedule 5 conductor size: real size (42.4 mm2), no such cable here"]
    answer = f"{ANSWERS}\nschedule,J1/4,conductor size,1 AWG,1/0,R. Tolley,2026-03-02"
    load(everything(schedule=schedule, answers=answer))
    assert Run.objects.get(run="4").conductor_size == "1/0 AWG"
    assert not load(everything(schedule=schedule))
    assert Answer.objects.count() == 1
    assert asked(everything(schedule=schedule.replace("1 AWG", "3 AWG"))) != []


def test_the_demo_and_other_data_do_not_mix() -> None:
    demo = everything(policies="demo,yes")
    load(demo)
    assert not load(demo)
    with pytest.raises(Refusal, match=r"hold the demo") as refused:
        load(everything())
    assert refused.value.code == "demo-apart"


def test_the_demo_is_refused_where_other_data_is() -> None:
    load(everything())
    with pytest.raises(Refusal, match=r"hold other data"):
        load(everything(policies="demo,yes"))
    assert not Policy.objects.filter(policy="demo").exists()


def test_the_rules_that_books_begin_with_are_kept_once_and_later_ones_wait_as_drafts() -> None:
    own = "rule,when ends,give kind,give quantity,give per,note,source\nX-1,-,consumable,{},outage,,our practice"
    load(everything(rules_location_accessories=own.format(1)))
    revisions = list(RuleRevision.objects.order_by("table").values_list("revision", flat=True))
    assert sorted(one.split()[0] for one in revisions) == ["default"] * 5 + ["owner"]
    load(everything(rules_location_accessories=own.format(1)))
    load(everything())
    assert not RuleDraft.objects.exists()
    for _ in range(2):
        load(everything(rules_location_accessories=own.format(2)))
    (draft,) = RuleDraft.objects.all()
    assert draft.tables["location accessories"]["rows"][0][3] == "2"
    assert RuleRevision.objects.count() == 6


def test_the_books_do_not_take_what_contradicts_them_together() -> None:
    """Each file is sound; together one run would stand twice under two jobs."""
    load(everything())
    again = "J2,1,S12,ABC,CT-A,P1,a,P2,a"
    assert asked(everything(schedule=again)) == ["schedule 6 row: row 6 repeats row 2 (J1 run 1)"]


def test_a_row_that_an_answer_keeps_stays_kept() -> None:
    twice = "\n".join([*RUNS, "J2,1,S12,ABC,CT-A,P1,a,P2,a"])
    answer = f'{ANSWERS}\nschedule,row 6,row,"P1 a to P2 a, ABC, S12",keep,R. Tolley,2026-03-02'
    load(everything(schedule=twice, answers=answer))
    assert not load(everything(schedule=twice))
    assert not load(sheets_from_records())
    assert Answer.objects.get().key == "J2/1"


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ({"stock": f"{STOCK}\nEL-1,N,{'A' * 61},bin,,,1"}, "stock 2 place: has 61 characters, too many to be kept"),
        (
            {"pins": EVERYTHING["pins"].replace("R. Tolley", "R" * 121)},
            "pins 2 by: has 121 characters, too many to be kept",
        ),
        (
            {"systems": "system,nominal kV,earthing\nS12,12.47001,solid"},
            "systems 2 nominal kV: is more exact than can be kept",
        ),
        ({"transfers": "from,to,days\nN,N,1"}, "transfers 2 to: a transfer leads to another depot"),
    ],
)
def test_what_can_not_be_kept_is_asked_in_words(rows: dict[str, str], problem: str) -> None:
    assert asked(everything(**rows)) == [problem]


def test_opening_balances_are_booked_once_and_other_figures_are_asked() -> None:
    load(everything())
    assert Movement.objects.count() == 3
    more = f"{STOCK}\nEL-1,N,A-1,bin,L-1,2027-01-31,20\nEL-2,N,A-9,bin,,,5"
    assert asked(everything(stock=more)) == ["stock 2 quantity: the books hold 24 of EL-1 there"]
    loaded = load(everything(stock=more.replace("31,20", "31,24")))
    assert changes(loaded, "stock").new == ("EL-2, N, A-9, bin",)
    assert Movement.objects.count() == 4
    assert Balance.objects.get(place__code="A-9").quantity == 5_000


def test_one_lot_has_one_date_on_the_sheet_and_in_the_books() -> None:
    two = f"{STOCK}\nEL-1,N,A-1,bin,L-1,2027-01-31,24\nEL-1,N,A-2,bin,L-1,2027-02-28,1"
    assert asked(everything(stock=two)) == ["stock 3 use by: lot L-1 of EL-1 is good through 2027-01-31 elsewhere"]
    load(everything())
    other = f"{STOCK}\nEL-1,N,A-7,bin,L-1,,1"
    assert asked(everything(stock=other)) == ["stock 2 use by: lot L-1 of EL-1 is good through 2027-01-31 elsewhere"]


def test_pieces_of_a_tracked_item_without_a_lot_go_in_as_unknown_and_are_listed() -> None:
    items = "stock code,description,kind,lot tracked\nEL-1,Elbow,elbow,yes\nEL-2,Elbow,elbow,no\nW,Wipes,consumable,"
    stock = f"{STOCK}\nEL-1,N,A-1,bin,?,,24\nEL-2,N,A-2,bin,,,6"
    empty = {name: EVERYTHING[name].splitlines()[0] for name in ("pins", "stand_ins", "added_lines")}
    loaded = load(everything(items=items, stock=stock, **empty))
    assert loaded.unknown_lots == ("EL-1",)
    assert Balance.objects.get(place__code="A-1").lot.number == ""


def test_an_order_that_has_come_in_part_is_asked_about_where_the_file_says_otherwise() -> None:
    load(everything())
    OrderLine.objects.update(received=15_000)
    assert asked(everything()) == ["orders 2 quantity: 15 of 24 have come, so 9 are still to come"]
    later = EVERYTHING["orders"].replace(",24,", ",9,").replace("03-18", "03-25")
    loaded = load(everything(orders=later))
    assert dict(changes(loaded, "orders").changed) == {"PO-1/1": {"promised": ("2026-03-18", "2026-03-25")}}
    assert OrderLine.objects.get().quantity == 24_000


def test_an_old_code_moves_with_both_its_items_and_is_never_taken_from_one_that_is_not_there() -> None:
    head, *rows = [
        "stock code,description,kind,old codes",
        "EL-1,Elbow,elbow,OLD-1",
        "EL-2,Elbow,elbow,",
        "W,W,consumable,",
    ]
    first = "\n".join([head, *rows])
    load(everything(items=first))
    moved = first.replace("OLD-1", "").replace("EL-2,Elbow,elbow,", "EL-2,Elbow,elbow,OLD-1")
    loaded = load(everything(items=moved))
    assert dict(changes(loaded, "items").changed) == {
        "EL-1": {"old codes": ("OLD-1", "")},
        "EL-2": {"old codes": ("", "OLD-1")},
    }
    assert OldCode.objects.get().item.stock_code == "EL-2"
    third = "\n".join([head, *rows[:1], "EL-3,Elbow,elbow,", rows[2]])
    only = {"stock": f"{STOCK}\nEL-1,N,A-1,bin,L-1,2027-01-31,24", "orders": "order,line,stock code,quantity,depot"}
    only |= {name: EVERYTHING[name].splitlines()[0] for name in ("pins", "stand_ins", "added_lines", "levels")}
    assert asked(everything(items=third, **only)) == ["items 2 old codes: OLD-1 is an old code of EL-2 in the books"]


def test_who_loads_has_a_name() -> None:
    for by in ("", " ", "R" * 121):
        with pytest.raises(Refusal, match="who loads"):
            load(everything(), by=by)
    assert not Depot.objects.exists()


def test_the_number_of_queries_does_not_grow_with_the_rows() -> None:
    def queries(runs: int) -> int:
        positions = "\n".join(f"P{n},a,integral 200 A,200 A 15 kV,ABC,,in use" for n in range(1, runs + 2))
        rows = "\n".join(f"J1,{n},S12,ABC,CT-A,P{n},a,P{n + 1},a" for n in range(1, runs + 1))
        stock = "\n".join([STOCK, *(f"EL-1,N,X-{n},bin,L-{n},,{n}" for n in range(1, runs + 1))])
        with CaptureQueriesContext(connection) as seen:
            load(everything(positions=positions, schedule=rows, stock=stock))
        return len(seen)

    queries(5)
    assert queries(20) == queries(28)


def test_nothing_is_kept_of_lists_that_were_never_given() -> None:
    empty = {name: EVERYTHING[name].splitlines()[0] for name in ("pins", "stand_ins", "added_lines")}
    load(everything(**empty))
    assert (Pin.objects.count(), StandIn.objects.count(), AddedLine.objects.count()) == (0, 0, 0)
