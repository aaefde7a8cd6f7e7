"""What one person asks and another decides, on pages: facts first, a reason from both, and never one's own."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, BUYER, CREW, DUTY, OTHER_AUDITOR, OTHER_STANDARDS, PLANNER, STANDARDS, STORES

from inventory.models import Balance, Depot, Item, Level, Lot, LotHold
from inventory.services.holding import place_hold
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.models import (
    DRAFT,
    PUBLISHED,
    REVIEWED,
    Event,
    ExpiredUse,
    LotRequest,
    Person,
    Pin,
    PlanRow,
    ReserveRelease,
    RuleDraft,
    StandIn,
    StandInRequest,
)
from kitting.roles import Actor
from kitting.services.draft_rules import draft_rules

pytestmark = pytest.mark.django_db
NOT_YOURS = "NOT YOURS TO DECIDE"


def prepared() -> None:
    planned()
    people()
    people(OTHER_STANDARDS, OTHER_AUDITOR)


books = books_of_module(demo_sheets, prepared)


def line_of(code: str) -> str:
    """A line of the plan that takes a stock code."""
    row = PlanRow.objects.filter(table="requirements", cells__stock_code=code).order_by("position").first()
    assert row is not None
    return str(row.cells["line"])


def stand_in(wanted: str, instead: str, *, actor: Actor = STORES, line: str = "") -> str:
    """Ask on the page, and the address where it is decided."""
    told = send(
        browser_of(actor), "/ask/stand-in", wanted=wanted.lower(), stand_in=instead, line=line, why="14 weeks of lead"
    )
    assert "ASKED" in words(told)
    return f"/to-approve/stand-ins/{StandInRequest.objects.latest('pk').pk}"


def compared(address: str, actor: Actor = STANDARDS) -> str:
    return words(send(browser_of(actor), address, deed="compare"))


def test_a_stand_in_is_asked_of_a_line_compared_fact_by_fact_and_approved_by_another() -> None:
    line = line_of("EL15-1")
    form = words(browser_of(STORES).get("/ask/stand-in", {"line": line}))
    address = stand_in("EL15-1", "EL15-3", line=line)

    before = words(browser_of(STANDARDS).get(address))
    seen = browser_of(STANDARDS).get(address)
    facts = compared(address)

    assert "Ask for a stand-in" in form
    assert "Nobody has put the facts side by side yet" in before
    assert "Approve within these limits" not in words(seen)
    assert "EL15-1, wanted" in facts
    assert "insulation" in facts
    assert f"{STORES.name}, storekeeper" in facts


def test_facts_that_are_worse_are_named_and_an_approval_has_limits_and_a_reason() -> None:
    address = stand_in("CS25-2", "CS35-2")
    facts = compared(address)
    client = browser_of(STANDARDS)
    approve = {"deed": "approve", "valid_to": "2026-04-30", "most": "6"}

    assert "Approve within these limits" in facts
    assert "needs a reason" in words(send(client, address, **approve))
    six = send(client, address, **{**approve, "most": "six"}, reason="same cutback")
    assert "Most pieces reads 'six'" in words(six)
    assert 'value="same cutback"' in six.content.decode()
    assert 'value="2026-04-30"' in six.content.decode()
    assert "Give the day as" in words(send(client, address, **{**approve, "valid_to": "soon"}, reason="x"))
    done = words(send(client, address, **approve, reason="same maker"))

    assert "CS35-2 for CS25-2 until 2026-04-30" in done
    kept = StandIn.objects.get(wanted__stock_code="CS25-2")
    assert (kept.max_quantity, kept.valid_to, kept.approved_by) == (6000, date(2026, 4, 30), STANDARDS.name)
    assert "approved by I. Varga: same maker" in done.lower().replace("i. varga", "I. Varga")


def test_what_does_not_mate_has_no_button_and_nobody_can_approve_it() -> None:
    """Trap T17: a 35 kV elbow on a 25 kV insert."""
    address = stand_in("EL25-2", "EL35S-1")

    facts = compared(address)
    forced = words(send(browser_of(STANDARDS), address, deed="approve", valid_to="2026-04-30", reason="it is night"))

    assert "NOBODY CAN APPROVE THIS" in facts
    assert "interface" in facts
    assert "Approve within these limits" not in facts
    assert "Nobody can approve this stand-in" in forced
    assert not StandIn.objects.filter(wanted__stock_code="EL25-2").exists()


def test_nobody_approves_what_they_asked_for_and_the_attempt_is_kept() -> None:
    address = stand_in("CS25-2", "CS35-2", actor=STANDARDS)
    own = compared(address)

    told = send(browser_of(STANDARDS), address, deed="approve", valid_to="2026-04-30", reason="mine")

    assert NOT_YOURS in own
    assert "another person decides" in own
    assert "Approve within these limits" not in own
    assert told.status_code == 403
    assert "another person decides" in words(told)
    assert Event.objects.filter(name="own request not decided").count() == 1
    assert "Approve within these limits" in words(browser_of(OTHER_STANDARDS).get(address))


def test_a_duty_supervisor_is_told_what_the_list_allows_and_refused_beyond_it() -> None:
    address = stand_in("CS25-2", "CS35-2")

    seen = compared(address, DUTY)
    told = words(send(browser_of(DUTY), address, deed="approve", valid_to="2026-04-30", reason="night"))

    assert "Standards have not listed this pair for you" in seen
    assert "ask standards" in told
    assert not StandIn.objects.exists()


def test_a_refusal_has_a_reason_and_ends_the_request() -> None:
    address = stand_in("CS25-2", "CS35-2")

    wordless = words(send(browser_of(STANDARDS), address, deed="refuse", reason=" "))
    done = words(send(browser_of(STANDARDS), address, deed="refuse", reason="never with these cables"))

    assert "needs a reason" in wordless
    assert "never with these cables" in done
    assert "is refused by I. Varga already" in words(send(browser_of(STANDARDS), address, deed="refuse", reason="x"))
    assert "Nobody asks for a stand-in" in words(browser_of(STANDARDS).get("/to-approve"))


def test_a_crew_may_ask_and_a_buyer_sees_nothing_of_it() -> None:
    address = stand_in("CS25-2", "CS35-2", actor=CREW)

    assert NOT_YOURS in words(browser_of(CREW).get(address))
    assert send(browser_of(CREW), address, deed="refuse", reason="no").status_code == 403
    assert browser_of(BUYER).get(address).status_code == 403
    assert browser_of(BUYER).get("/ask/stand-in").status_code == 403
    assert browser_of(STANDARDS).get("/to-approve/stand-ins/999").status_code == 404


def ask_reserve(pieces: str = "1", actor: Actor = STORES) -> str:
    told = send(
        browser_of(actor), "/ask/reserve", line=line_of("BI35L"), stock_code="BI35L", depot="N", pieces=pieces,
        why="too late to buy",
    )  # fmt: skip
    assert "ASKED" in words(told), words(told)
    return f"/to-approve/reserve/{ReserveRelease.objects.latest('pk').pk}"


def test_the_reserve_is_opened_to_a_bin_by_the_duty_supervisor_who_sees_what_is_left() -> None:
    """Trap T42: only the reserve at N can help J08."""
    page = browser_of(STORES).get("/ask/reserve", {"line": line_of("BI35L")})
    form = words(page)
    address = ask_reserve()
    Stores().place("N", "N-01-1")
    client = browser_of(DUTY)

    seen = words(client.get(address))
    unknown = words(send(client, address, deed="approve", place="Z-9", reason="J08", action="P-1"))
    done = words(send(client, address, deed="approve", place="N-01-1", reason="J08 can't wait", action="P-2"))
    again = words(send(client, address, deed="approve", place="N-01-1", reason="J08 can't wait", action="P-2"))

    assert "BI35L in reserve" in form
    assert '<option value="N" selected>' in page.content.decode()  # the depot that has some
    assert "In reserve now 1 ea at N Floor nobody has set one; with a release 1 ea becomes it" in seen
    assert "Left after it 0" in seen
    assert "Z-9" in unknown
    assert "In N/N-01-1, pinned to J08" in done
    assert "RELEASED" in again
    assert Pin.objects.filter(item__stock_code="BI35L").count() == 1
    assert Balance.objects.get(lot__item__stock_code="BI35L", place__code="N-01-1").quantity == 1000


def test_more_of_the_reserve_than_lies_there_is_refused_and_so_is_a_releaser_of_another_depot() -> None:
    too_many = send(
        browser_of(STORES), "/ask/reserve", line=line_of("BI35L"), stock_code="BI35L", depot="N", pieces="9", why="x"
    )
    address = ask_reserve()
    Person.objects.filter(name=DUTY.name).update(depots=["H"])

    seen = words(browser_of(DUTY).get(address))
    told = send(browser_of(DUTY), address, deed="refuse", reason="not mine")

    assert "9 BI35L asked of the reserve; 1 lie there" in words(too_many)
    assert "acts for H only" in seen
    assert "Release to this bin" not in seen
    assert told.status_code == 403
    assert ReserveRelease.objects.get().state == "asked"


def test_more_than_the_floor_is_asked_about_before_the_reserve_is_opened() -> None:
    address = ask_reserve()
    Stores().place("N", "N-01-1")
    item, depot = Item.objects.get(stock_code="BI35L"), Depot.objects.get(depot="N")
    Level.objects.update_or_create(item=item, depot=depot, defaults={"reserve_floor": 500})
    form = {"deed": "approve", "place": "N-01-1", "reason": "J08 can't wait", "action": "P-1"}
    client = browser_of(DUTY)

    question = send(client, address, **form)
    kept = ReserveRelease.objects.get().state
    yes = words(send(client, address, **form, confirmed="more-than-floor/1"))

    assert "are more than the floor of 0.5" in words(question)
    assert kept == "asked"
    assert "RELEASED" in yes


def test_a_held_lot_is_let_go_by_two_of_whom_one_is_of_standards() -> None:
    lot = Lot.objects.exclude(number="").filter(balances__quantity__gt=0).select_related("item").first()
    assert lot is not None
    stamp = {"by": STORES.name, "at": Stores().at, "action": "hold-1"}
    place_hold(stock_code=lot.item.stock_code, lot=lot.number, reason="maker's letter", **stamp)
    hold = LotHold.objects.get()

    asked = words(send(browser_of(AUDITOR), "/ask/hold-release", hold=hold.pk, reason="letter withdrawn"))
    address = f"/to-approve/lots/{LotRequest.objects.get().pk}"
    own = words(browser_of(AUDITOR).get(address))
    other = words(browser_of(OTHER_AUDITOR).get(address))
    seen = words(browser_of(STANDARDS).get(address))
    lot_page = words(browser_of(STANDARDS).get(f"/lots/{lot.item.stock_code}/{lot.number}"))
    done = words(send(browser_of(STANDARDS), address, deed="approve", reason="read the letter", action="P-1"))

    assert "SIGNED FIRST" in asked
    assert NOT_YOURS in own
    assert "One of the two who sign is a standards engineer" in other
    assert "maker's letter" in seen
    assert "Sign first that it may be let go" in lot_page
    assert "signed by two, done" in done
    hold.refresh_from_db()
    assert hold.released_by == STANDARDS.name
    assert send(browser_of(STORES), "/ask/hold-release", hold=hold.pk, reason="x").status_code == 403


def test_a_later_date_needs_kind_two_and_a_certificate_and_its_refusal_leaves_the_lot() -> None:
    lot = Lot.objects.get(item__stock_code="CS15-2", number="L-2303B")
    form = {"stock_code": "CS15-2", "lot": "L-2303B", "use_by": "2026-09-30", "certificate": "C-7", "reason": "seen"}
    client = browser_of(STANDARDS)

    final = words(send(client, "/ask/extension", **form))
    Item.objects.filter(stock_code="CS15-2").update(dated_kind="II")
    asked = words(send(client, "/ask/extension", **form))
    address = f"/to-approve/lots/{LotRequest.objects.get().pk}"
    seen = words(browser_of(AUDITOR).get(address))
    refused = words(send(browser_of(AUDITOR), address, deed="refuse", reason="no such certificate"))

    assert "is final" in final
    assert "SIGNED FIRST" in asked
    assert "Use by, on the books 2026-03-31 Use by, by the certificate 2026-09-30" in seen
    assert "the lot stays as it is" in refused
    lot.refresh_from_db()
    assert lot.use_by == date(2026, 3, 31)


def drafted(actor: Actor = STANDARDS) -> RuleDraft:
    columns = ["rule", "when kind", "give kind", "give quantity", "give per", "note", "source"]
    rows = [["S-01", "elbow", "elbow", "2", "outage", "", "our practice"]]
    raw = raw_book([raw_sheet("rules spares", columns, rows)])
    return draft_rules(raw=raw, note="two spare elbows", actor=actor, at=Stores().at)


def test_a_draft_of_rules_is_looked_at_reviewed_and_published_by_another_than_its_drafter() -> None:
    draft = drafted()
    address = f"/to-approve/rules/{draft.pk}"
    client = browser_of(OTHER_STANDARDS)

    early = words(send(client, address, deed="review", words="fine"))
    looked = words(send(client, address, deed="look"))
    own = browser_of(STANDARDS)
    seen = words(own.get(address))
    refused = send(own, address, deed="review", words="mine")
    reviewed = words(send(client, address, deed="review", words="seen with crew 4"))
    published = words(send(client, address, deed="publish", live_from="2026-03-03"))

    assert "have not passed yet: look at it first" in early
    assert "Open lines that would change" in looked
    assert "COMES" in looked
    assert "GOES" in looked
    assert NOT_YOURS in seen
    assert refused.status_code == 403
    assert "REVIEWED" in reviewed
    assert "Live from 2026-03-03" in published
    draft.refresh_from_db()
    assert (draft.state, draft.published_by) == (PUBLISHED, OTHER_STANDARDS.name)


def test_who_has_not_looked_does_not_publish_and_a_planner_only_reads() -> None:
    draft = drafted()
    address = f"/to-approve/rules/{draft.pk}"
    RuleDraft.objects.filter(pk=draft.pk).update(
        state=REVIEWED, decided_by=OTHER_STANDARDS.name, decided_at=Stores().at, decision="seen"
    )

    seen = words(browser_of(OTHER_STANDARDS).get(address))
    told = words(send(browser_of(OTHER_STANDARDS), address, deed="publish", live_from="2026-03-03"))
    planner = browser_of(PLANNER)

    assert "Look first at what it changes" in seen
    assert "look first" in told
    assert "may not approve this (rules)" in words(planner.get(address))
    assert send(planner, address, deed="drop", reason="x").status_code == 403
    dropped = words(send(browser_of(STANDARDS), address, deed="drop", reason="not needed"))
    assert "is given up" in dropped
    draft.refresh_from_db()
    assert draft.state != DRAFT


def test_the_first_page_names_what_waits_for_a_person_and_not_what_they_asked() -> None:
    stand_in("CS25-2", "CS35-2", actor=STANDARDS)

    assert "1 stand-in: to approve or refuse" in words(browser_of(OTHER_STANDARDS).get("/"))
    assert ": to approve or refuse" not in words(browser_of(STANDARDS).get("/"))
    listed = words(browser_of(STANDARDS).get("/to-approve"))
    assert "CS35-2 for CS25-2" in listed
    assert "another person" in listed


def test_the_list_of_what_waits_asks_the_books_as_often_with_more_requests() -> None:
    client = browser_of(STANDARDS)
    stand_in("CS25-2", "CS35-2")
    client.get("/to-approve")
    with CaptureQueriesContext(connection) as few:
        client.get("/to-approve")
    for instead in ("EL15-3", "EL25-2", "EL35S-1"):
        stand_in("EL15-2", instead)
    with CaptureQueriesContext(connection) as many:
        client.get("/to-approve")
    assert len(many) == len(few)


def test_a_lot_is_used_past_its_date_when_duty_and_standards_sign_with_the_dates_before_them() -> None:
    duty, standards = browser_of(DUTY), browser_of(STANDARDS)
    asked = {"stock_code": "cs15-2", "lot": "L-2303B", "job": "J10", "quantity": "2", "reason": "stored cool"}

    typo = send(duty, "/ask/expired", **{**asked, "job": "J99"})
    first = words(send(duty, "/ask/expired", **asked))
    address = f"/to-approve/expired/{ExpiredUse.objects.get().pk}"
    seen = words(standards.get(address))
    own = send(duty, address, deed="approve", reason="mine")
    done = words(send(standards, address, deed="approve", reason="no other in reach"))

    assert "There is no job J99" in words(typo)
    assert 'value="stored cool"' in typo.content.decode()
    assert "SIGNED FIRST" in first
    assert "2 ea CS15-2 lot L-2303B for J10, past its date" in first
    assert "Use by 2026-03-31" in seen
    assert "Needed through 2026-04-11" in seen
    assert own.status_code == 403
    assert "SIGNED CS15-2 lot L-2303B for J10, past its date" in done
    assert browser_of(STORES).get(address).status_code == 403
