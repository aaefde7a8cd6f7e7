"""What was typed into a small form stands in it again after a refusal, so that nothing is typed twice."""

import re
from html import escape, unescape
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import ADMINISTRATOR, VISITOR, browser_of, people, send
from module_books import books_of_module
from people import DUTY, PLANNER, STORES

from inventory.models import Lot
from jobs.models import Job, Reel
from kitting.models import Bag, Borrow, Person, Pin, PlanRow
from kitting.roles import Actor

pytestmark = pytest.mark.django_db


def bag_issued() -> None:
    """The demo on the first morning with one bag out with a crew, and people who may sign in."""
    planned()
    Stores(prefix="issued").out("J03", "V2")
    people()


books = books_of_module(demo_sheets, bag_issued)


def refused(actor: Actor, address: str, **form: Any) -> str:
    """The page that somebody sees after a form was refused, with its markup."""
    content: str = send(browser_of(actor), address, **form).content.decode()
    assert 'class="no' in content
    return content


def pinned_and_lent() -> None:
    """A pin that stands, and a borrow that is open."""
    job, lot = Job.objects.get(job="J11"), Lot.objects.select_related("item").earliest("pk")
    Pin.objects.create(job=job, line="J11/x", item=lot.item, quantity=1_000, reason="the road", by="R. Tolley")
    bag = Bag.objects.filter(job__job="J03").earliest("pk")
    Borrow.objects.create(
        bag=bag, to_job=job, lot=lot, quantity=1_000, why="dig-in", asked_by="M. Osei", authorised_by="J. Brandt",
        borrowed_at=Stores().at, pay_back_by=Stores().at.date(),
    )  # fmt: skip


def test_a_refused_form_keeps_its_reason_its_choice_and_its_figures() -> None:
    bag = Stores().code("J03", "V2")
    lot = Lot.objects.filter(item__stock_code="CS15-2").earliest("pk")
    stop = f"/lots/CS15-2/{lot.number}"
    send(browser_of(STORES), stop, do="hold", reason="swollen")

    pinned_and_lent()

    oops = refused(
        STORES, f"/bags/{bag}/write-off", piece="T25/", quantity="two", note="fell in the vault", what="lost"
    )
    held = refused(STORES, stop, do="hold", reason="swollen at one end", serials="17 to 20")
    frozen = refused(PLANNER, "/cutovers/freeze", day="2026-12-24")
    pin = refused(PLANNER, "/pins", unpin="999", reason="the road is open")
    lent = refused(DUTY, "/borrows", borrow="999", why="they are fitted")

    assert 'name="quantity" value="two"' in oops
    assert 'name="note" value="fell in the vault"' in oops
    assert 'name="reason" value="swollen at one end"' in held
    assert 'name="serials" value="17 to 20"' in held
    assert 'name="day" type="date" value="2026-12-24"' in frozen
    assert 'name="reason" value="the road is open"' in pin
    assert 'name="why" value="they are fitted"' in lent


def test_the_end_of_a_visitors_access_that_is_refused_stays_at_that_visitor() -> None:
    visitor = Person.objects.get(name=VISITOR.name)
    page = refused(ADMINISTRATOR, "/people", do="extend", visitor=visitor.sign_in, until="2031-01-01T07:00")

    assert page.count('value="2031-01-01T07:00"') == 1


def test_long_work_that_is_refused_leads_back_to_its_form_with_all_that_was_typed() -> None:
    line = PlanRow.objects.get(table="shortages", job="J11").cells["line"]
    typed = {"stock_code": "EA15-15.3", "quantity": "3", "lot": "", "depot": "ZZ", "reason": "the road is open & wet"}
    pin = refused(PLANNER, "/jobs/J11/pin", line=line, **typed)
    more = refused(PLANNER, "/what-if", change="more", stock_code="ZZ-9", depot="N", quantity="3", use_by="")
    moved = refused(PLANNER, "/jobs/J11/move", cutover="2026-05-04 08:00", end="2026-05-04 07:00")

    def again(content: str) -> str:
        (address,) = re.findall(r'href="([^"]+)">Change it and ask again', content)
        return browser_of(PLANNER).get(unescape(address)).content.decode()

    assert all(f'value="{escape(text)}"' in again(pin) for text in typed.values())
    assert all(f'value="{text}"' in again(more) for text in ("ZZ-9", "N", "3"))
    assert all(f'value="2026-05-04 0{hour}:00"' in again(moved) for hour in (8, 7))


@pytest.mark.parametrize("text", ["1e5", "2026-04-01", "9" * 28, "-1", ""])
def test_a_number_that_a_page_wrote_into_its_form_and_that_reads_otherwise_names_nothing(text: str) -> None:
    reel = {"low": "0.9", "high": "0.91", "unit": "in", "gauge": "G-07"}
    before = Reel.objects.get(reel="R-2201").version
    assert 'value="G-07"' in refused(PLANNER, "/reels/R-2201", version=text, **reel)
    assert Reel.objects.get(reel="R-2201").version == before
    assert "have no cell" in refused(
        PLANNER, "/questions", sheet="schedule", row=text, column="wall", read="", value="5"
    )
    assert send(browser_of(PLANNER), "/notices", up_to=text).status_code == 200
    assert 'class="no"' in refused(STORES, "/transfers", ask=text, answer="none to spare")
