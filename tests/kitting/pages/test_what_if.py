"""What would be if: two plans, before and after, and nothing is stored."""

import re

import pytest
from bag_stores import demo_sheets, planned
from browsing import people, send, words
from django.test import Client
from module_books import books_of_module
from people import PLANNER

from kitting.models import Errand, Event, PlanRow, Promise

pytestmark = pytest.mark.django_db


def plan_and_people() -> None:
    planned()
    people(PLANNER)


books = books_of_module(demo_sheets, plan_and_people)


def test_a_what_if_stores_nothing(planner: Client) -> None:
    events, promises = Event.objects.count(), Promise.objects.filter(released_at=None).count()

    seen = words(send(planner, "/what-if", change="lost lot", stock_code="CS15-2", lot="L-2303B"))
    wrong = words(send(planner, "/what-if", change="late", order="PO-1", days="-3"))

    undated = words(send(planner, "/what-if", change="more", stock_code="CS25-2", depot="H", quantity="7"))
    dated = words(
        send(planner, "/what-if", change="more", stock_code="CS25-2", depot="H", quantity="7", use_by="2027-12-31")
    )
    unknown = words(send(planner, "/what-if", change="stand-in", wanted="CS25-2", allowed="CS99"))

    assert "J10/V9-J2/joint/ABC/splice READY SHORT" in seen
    assert "CS25-2 has a shelf life: say until which day" in undated
    assert "J09/HJ1-j/joint/ABC/splice SHORT READY IF" in dated
    assert "That can't be tried. allowed CS99: no item has this stock code" in unknown
    assert "1 line would change" in seen
    assert "no number of days" in wrong
    assert (Event.objects.count(), Promise.objects.filter(released_at=None).count()) == (events, promises)


def test_facts_stand_in_one_order_whatever_order_the_books_kept_them_in(planner: Client) -> None:
    asked = send(planner, "/what-if", change="more", stock_code="CS25-2", depot="H", quantity="7", use_by="2027-12-31")
    line = PlanRow.objects.get(cells__line="J01/A2-a/r1-to/ABC/elbow", table="requirements")
    why = f"/jobs/J01/line?line={line.cells['line']}"
    seen = words(planner.get(why))
    made = Errand.objects.get()
    for one, name in ((made, "given"), (line, "cells")):
        setattr(one, name, dict(reversed(getattr(one, name).items())))
        one.save()

    told = "as of 2026-03-02, quantity 7, stock code CS25-2, depot H, use by 2027-12-31. Nothing is stored."
    assert told in words(asked)
    assert told in words(planner.get(f"/errands/{made.pk}"))
    assert words(planner.get(why)) == seen


def test_what_was_typed_for_a_what_if_that_can_t_be_tried_stands_in_its_form_again(planner: Client) -> None:
    def form_again(address: str, **typed: str) -> str:
        refused = send(planner, address, **typed)
        assert "That can't be tried" in words(refused)
        (link,) = re.findall(r'href="([^"]+)">Change it and ask again', refused.content.decode())
        return str(planner.get(link.replace("&amp;", "&")).content.decode())

    moved = form_again("/jobs/J11/move", cutover="next week", end="2026-04-18 12:00")
    more = form_again("/what-if", change="more", stock_code="CS99", depot="H", quantity="7")

    assert all(f'value="{text}"' in moved for text in ("next week", "2026-04-18 12:00"))
    assert more.count('value="CS99"') == 1  # a lost lot has a stock code too, and that form was not sent
