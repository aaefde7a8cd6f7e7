"""A label that was printed before its bag's list changed says so wherever it is scanned (trap T49)."""

from datetime import date

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets, planned
from module_books import books_of_module
from people import STANDARDS
from refusals import refusal

from inventory.models import Balance, Item, Lot
from jobs.models import ScheduleRevision
from kitting.models import BAG_LABEL, Promise, StandIn
from kitting.selectors.bag_contents import bag_by_code, bag_of_label, label_note
from kitting.selectors.rework import rework
from kitting.selectors.what_is_this import what_is
from kitting.services.fill_bags import check, reopen
from kitting.services.issue_bags import stage
from kitting.services.note_printing import note_printing
from kitting.services.stand_in_terms import end_stand_in

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


def revised() -> None:
    """J03's bags staged on revision A; revision B changes what is at V2, planned and listed."""
    planned()
    stores = Stores(prefix="revised")
    stores.bags("J03")
    for structure in ("B1", "V2"):
        stores.ready("J03", structure, rack=f"R-{structure}")
    stores.revise("J03", "B", "V2", "AB")
    stores.plan()


books = books_of_module(demo_sheets, revised)


def label(structure: str, revision: str) -> str:
    """What the square code of a bag's label holds."""
    return f"BAG {Stores().code('J03', structure)} REV {revision} | {structure} | J03"


def test_a_label_of_before_the_change_is_refused_with_what_has_changed_and_the_new_one_goes_on() -> None:
    stores = Stores()
    for deed in (lambda bag: reopen(bag=bag, why="look", **stores.scan()), bag_by_code):
        told = refusal("superseded-label", deed, label("V2", "A"))
        assert told.startswith("SUPERSEDED BY REV B: this label is of rev A. Since then: ")
        assert "2 T25 put on the list (J03/V2-a/r1-to/AB/tee)" in told
        assert "more, see the bag's page" in told
        assert told.endswith("Print the label again.")

    assert bag_by_code(label("V2", "B")).structure == bag_by_code(stores.code("J03", "V2")).structure == "V2"


def test_an_old_label_of_a_bag_in_which_nothing_changed_goes_on_and_says_that_it_is_old() -> None:
    stores = Stores()

    assert stores.bag("J03", "B1").revision == "B"
    assert label_note(label("B1", "A")) == (
        "SUPERSEDED BY REV B: this label is of rev A; nothing in this bag has changed, it is still good. "
        "Print its label again."
    )
    assert label_note(label("B1", "B")) == label_note(stores.code("J03", "B1")) == ""
    assert stage(bag=label("B1", "A"), rack="R-9", **stores.scan()).word == "PLACED"


def test_what_is_this_says_of_an_old_label_that_it_is_superseded_and_by_what() -> None:
    (old,) = what_is(label("V2", "A"), today=TODAY)
    (new,) = what_is(label("V2", "B"), today=TODAY)

    assert (old.name, new.name, new.warning) == ("J03 V2", "J03 V2", "")
    assert old.warning.startswith("SUPERSEDED BY REV B: this label is of rev A. Since then: ")


def test_a_label_of_a_revision_that_never_was_listed_is_not_trusted_and_one_that_is_planned_next_is_not_old() -> None:
    assert "what has changed since, the bag's page says" in refusal("superseded-label", bag_by_code, label("V1", "Q"))
    ScheduleRevision.objects.filter(job__job="J03", live=True).update(letter="C")
    assert bag_of_label(label("V1", "C"))[1] is None


def test_a_label_of_before_a_stand_in_was_approved_stops_the_bag_until_it_is_printed_again() -> None:
    """No letter of the schedule tells it: the part on the label is another one now."""
    stores = Stores()
    paper = {"document": BAG_LABEL, "subject": "J03 BJ1"}
    note_printing(**paper, revision="F00001", **stores.scan())
    wanted, allowed = (Item.objects.get(stock_code=code) for code in ("CS15-6", "CS25-6"))
    there = Lot.objects.create(item=allowed, number="L-2601", use_by=date(2028, 2, 29))
    Balance.objects.filter(lot__item=wanted, place__kind="bin").update(lot=there)
    StandIn.objects.create(wanted=wanted, allowed=allowed, approved_by="I. Varga", reason="14 weeks")
    stores.plan()
    stores.fetch("J03", "BJ1")
    code = stores.code("J03", "BJ1")
    assert "CS25-6" in stores.counted("J03", "BJ1")
    check(bag=code, counted=stores.counted("J03", "BJ1"), **stores.scan(OTHER_STORES))

    told = refusal("bag-not-ready", lambda: stage(bag=code, rack="R-BJ1", **stores.scan()))
    assert "OLD LABEL: printed before" in told
    assert "CS25-6 put on the list" in told
    (row,) = (one for one in rework(on=TODAY) if str(one.bag) == "J03 BJ1")
    assert row.next == ("print its label again",)
    assert "OLD LABEL" in row.whys[-1]
    assert any("OLD LABEL" in sentence for sentence in what_is(code, today=TODAY)[0].told)

    note_printing(**paper, revision="F00002", **stores.scan())
    assert stage(bag=code, rack="R-BJ1", **stores.scan()).word == "PLACED"
    assert "J03 BJ1" not in {str(one.bag) for one in rework(on=TODAY)}


def test_a_bag_with_a_stand_in_that_ends_before_its_outage_goes_no_further_until_it_is_planned_again() -> None:
    stores = Stores()
    wanted, allowed = (Item.objects.get(stock_code=code) for code in ("CS15-6", "CS25-6"))
    there = Lot.objects.create(item=allowed, number="L-2601", use_by=date(2028, 2, 29))
    shelf = Balance.objects.filter(lot__item=wanted, place__kind="bin")
    before = dict(shelf.values_list("pk", "lot"))
    shelf.update(lot=there)
    on = {"wanted": wanted, "allowed": allowed, "approved_by": "I. Varga", "reason": "14 weeks"}
    approval = StandIn.objects.create(**on, valid_to=date(2026, 3, 12))  # the day of J03's outage
    stores.plan()
    stores.ready("J03", "BJ1", rack="R-BJ1")
    assert {one.line.instead_of for one in stores.contents("J03", "BJ1").lines if one.open} == {"", "CS15-6"}
    assert "J03 BJ1" not in {str(one.bag) for one in rework(on=TODAY)}

    day, why = date(2026, 3, 11), "the right ones came"
    end_stand_in(number=approval.pk, valid_to=day, reason=why, actor=STANDARDS, at=stores.at)

    words = "STAND-IN ENDED: CS25-6 for CS15-6, approved until 2026-03-11; plan, apply, look again"
    assert words in refusal("bag-not-ready", lambda: stores.issue("J03", "BJ1"))
    (row,) = (one for one in rework(on=TODAY) if str(one.bag) == "J03 BJ1")
    assert (row.whys, row.next[0]) == ((words,), "plan, apply and list again")
    for number, lot in before.items():
        Balance.objects.create(place=Balance.objects.get(pk=number).place, lot_id=lot, quantity=9000)
    stores.plan()
    assert stores.bag("J03", "BJ1").state == "reopened"
    assert {one.line.instead_of for one in stores.contents("J03", "BJ1").lines if not one.line.dropped} == {""}


def test_a_part_that_serves_by_itself_stands_in_for_none_on_the_list_of_its_bag() -> None:
    stores = Stores()
    wanted, other = (Item.objects.get(stock_code=code) for code in ("CS15-6", "CS25-6"))
    Promise.objects.filter(item=wanted, job__job="J03", released_at=None).update(item=other)

    def listed() -> set[tuple[str, str]]:
        stores.bags("J03")
        stands = stores.contents("J03", "BJ1").lines
        return {(str(one.line.item), one.line.instead_of) for one in stands if not one.line.dropped}

    assert ("CS25-6", "") in listed()
    StandIn.objects.create(wanted=wanted, allowed=other, approved_by="I. Varga", reason="14 weeks")
    assert ("CS25-6", "CS15-6") in listed()
