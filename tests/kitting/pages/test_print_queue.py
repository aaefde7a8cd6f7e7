"""Papers wait in a depot's print queue until they are on paper; each kind comes in one file, in rack order."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, pages_of, people, send, words
from django.test import Client
from module_books import books_of_module
from people import BUYER, DUTY, PLANNER, STORES

from inventory.models import Depot
from jobs.models import Job
from kitting.models import Bag, Errand, Event, Printing, QueuedPaper

pytestmark = pytest.mark.django_db

DAY, QUEUE = "2026-03-12", "/print-queue/N"  # J03's outage, and its depot


def bags_in_any_order() -> None:
    """The demo on the first morning with bags of J03 listed, three of them on the rack."""
    planned()
    made = Stores(prefix="ready")
    made.bags("J03")
    for structure, rack in (("B2", "R-9"), ("B1", "R-10"), ("B3", "R-2")):
        made.ready("J03", structure)
        Bag.objects.filter(job__job="J03", structure=structure).update(whereabouts=rack)
    people()


books = books_of_module(demo_sheets, bags_in_any_order)


def queued(window: Client, *papers: str) -> str:
    return words(send(window, QUEUE, act="add", day=DAY, of="cutover", papers=papers))


def file_of(window: Client, document: str, **on: str) -> list[str]:
    answer = window.post(QUEUE, {"act": "file", "day": DAY, "document": document, **on})
    assert answer.headers["Content-Type"] == "application/pdf", words(answer)
    return pages_of(answer)


def test_labels_of_a_day_come_in_one_file_in_the_order_of_the_rack_and_stay_until_they_are_on_paper(
    window: Client,
) -> None:
    told = queued(window, "bag-label")
    again = queued(window, "bag-label")
    today = words(window.get("/"))
    early = words(send(window, QUEUE, act="on paper", day=DAY, document="bag-label"))
    first = file_of(window, "bag-label")
    off = file_of(browser_of(DUTY), "bag-label")  # the printer was off
    seen = words(window.get(QUEUE))
    printed = words(send(window, QUEUE, act="on paper", day=DAY, document="bag-label"))

    assert "IN THE QUEUE 7 papers of 2026-03-12; 0 waited already" in told
    assert "IN THE QUEUE 0 papers of 2026-03-12; 7 waited already" in again
    assert "7 papers to print depot N" in today
    assert "No bag label of 2026-03-12 waits at N whose file was made" in early
    order = [page.split()[1] for page in first if page.startswith("DEMO ")]
    assert list(dict.fromkeys(order)) == ["B3", "B2", "B1", "B4", "BJ1", "V1", "V2"]
    assert not any("REPRINT" in page for page in (*first, *off))
    assert Printing.objects.filter(document="bag-label").count() == 7
    assert "Bag labels: 7 Rack Of State R-2 J03 B3 file made 2026-03-02 08:30 asked for by M. Osei" in seen
    assert "ON PAPER 7 bag labels of 2026-03-12" in printed
    assert "Nothing waits to be printed" in printed
    assert "papers to print" not in words(window.get("/"))
    queued(window, "bag-label")
    assert {page.split()[1] for page in file_of(window, "bag-label") if "REPRINT 1" in page} == {*order}
    assert Event.objects.filter(name="papers on paper", subject=f"N {DAY}").count() == 1


def test_a_bag_that_changes_while_its_label_waits_gets_the_label_of_what_is_in_it(window: Client) -> None:
    queued(window, "bag-label")
    file_of(window, "bag-label")
    Stores().fetch("J03", "V2", but={"T25": 1})
    changed = [page for page in file_of(window, "bag-label") if page.startswith("DEMO V2 ")]

    assert "SHORT: 1 T25" in changed[0]
    assert "REPRINT" not in changed[0]
    assert len({one.printing.revision for one in QueuedPaper.objects.all() if one.printing}) == 7


def test_pick_lists_slips_and_cards_wait_too_and_what_nobody_needs_is_taken_off(window: Client) -> None:
    told = queued(window, "inner-labels", "night-card", "issue-slip", "return-slip")
    nothing = queued(window)
    cards, slips = file_of(window, "night-card"), file_of(window, "issue-slip")
    sheets = window.post(QUEUE, {"act": "file", "day": DAY, "document": "bag-label"}, follow=True)
    off = words(send(window, QUEUE, act="taken off", day=DAY, document="inner-labels"))
    late = words(send(window, QUEUE, act="taken off", day=DAY, document="inner-labels"))

    assert "IN THE QUEUE 16 papers" in told, "seven bags twice, one job twice"
    assert "choose which papers" in nothing
    assert list(dict.fromkeys(card.split("-")[1] for card in cards))[:3] == ["B3", "B2", "B1"]
    assert "J03" in slips[0]
    assert "depot N No bag is issued yet REV" in slips[0]
    assert "NOTHING WAITS no bag label of 2026-03-12 at N" in words(sheets)
    assert "TAKEN OFF 7 inner labels" in off
    assert "No inner labels of 2026-03-12 waits at N" in late
    assert set(QueuedPaper.objects.filter(document="inner-labels").values_list("ended", "ended_by")) == {
        ("taken off", STORES.name)
    }


def test_the_pick_lists_of_the_plan_applied_last_wait_and_those_of_a_former_plan_are_taken_off(window: Client) -> None:
    planner = browser_of(PLANNER)
    send(planner, "/plans", as_of="2026-03-02")
    send(planner, f"/plans/{Errand.objects.latest('pk').pk}/apply")
    told = queued(window, "pick list")
    (waiting,) = QueuedPaper.objects.all()
    lists = file_of(window, "pick list")
    QueuedPaper.objects.filter(pk=waiting.pk).update(name="J03-pick-list-ZZ.pdf")
    gone = words(send(window, QUEUE, act="file", day=DAY, document="pick list"))

    assert "IN THE QUEUE 1 paper of" in told
    assert waiting.name == "J03-pick-list-N.pdf"
    assert "J03" in lists[0]
    assert Printing.objects.get(document="pick list").subject == "J03 at N"
    assert "The plan applied last has no J03-pick-list-ZZ.pdf" in gone


def test_a_bag_on_hold_keeps_its_place_in_the_order_of_the_rack(window: Client) -> None:
    held = Bag.objects.get(job__job="J03", structure="B2")
    Bag.objects.filter(pk=held.pk).update(state="on hold", state_before_hold=held.state)
    queued(window, "bag-label")
    labels = [page.split()[1] for page in file_of(window, "bag-label") if page.startswith("DEMO ")]

    assert list(dict.fromkeys(labels))[:3] == ["B3", "B2", "B1"]
    assert "R-9 J03 B2" in words(window.get(QUEUE))


def tapped(window: Client, **what: object) -> str:
    return words(send(window, "/print-queue", **what))


def test_one_tap_on_a_page_that_prints_lets_its_papers_wait_for_the_day_of_the_outage(window: Client) -> None:
    code = Stores().code("J03", "B2")
    card = tapped(window, bag=code, papers="night-card")
    again = tapped(window, bag=code, papers="night-card")
    labels = tapped(window, job="J03", papers="bag-label")
    slip = tapped(window, job="J03", papers="issue-slip")

    assert f"IN THE QUEUE 1 paper of {DAY} at N, 0 waited already." in card
    assert "Bag J03 B2" in card, "back on the page where it was asked for"
    assert "0 papers of" in again
    assert f"7 papers of {DAY} at N" in labels
    assert "Bags of J03" in labels
    assert f"1 paper of {DAY} at N" in slip
    assert {page.split("-")[1] for page in file_of(window, "night-card")} == {"B2"}
    Bag.objects.filter(job__job="J03", structure="B1").update(depot=Depot.objects.get(depot="H"))
    both = tapped(window, job="J03", papers="inner-labels")
    assert f"1 paper of {DAY} at H, 0 waited already; 6 papers of {DAY} at N, 0 waited already." in both


def test_a_pick_list_waits_by_one_tap_and_what_is_not_there_is_said(window: Client) -> None:
    early = tapped(window, job="J03", papers="pick list")
    assert "NO PAPER the plan applied last has no pick list of it. They are made when a plan is applied on" in early
    planner = browser_of(PLANNER)
    send(planner, "/plans", as_of="2026-03-02")
    send(planner, f"/plans/{Errand.objects.latest('pk').pk}/apply")
    page = window.get("/papers", {"job": "J03"}).content.decode()
    listed = tapped(window, name="J03-pick-list-N.pdf")
    of_job = tapped(window, job="J03", papers="pick list")
    unknown = tapped(window, name="J03-pick-list-ZZ.pdf")

    assert 'name="name" value="J03-pick-list-N.pdf">J03-pick-list-N.pdf<span class="sr"> into the print queue' in page
    assert f"IN THE QUEUE 1 paper of {DAY} at N" in listed
    assert "0 papers" in of_job
    assert "NO PAPER none of what was asked for is there to wait." in unknown
    assert "NO PAPER" in tapped(window, job="J03")
    assert window.post("/print-queue", {"job": "J/99", "papers": "bag-label"}).status_code == 404


def test_papers_of_a_bag_without_an_outage_ahead_wait_for_today(window: Client) -> None:
    code = Stores().code("J03", "B2")
    for cutover, paper in (("", "bag-label"), ("2026-02-27 08:00", "night-card")):
        Job.objects.filter(job="J03").update(cutover=cutover, cutover_end="")
        assert "1 paper of 2026-03-02 at N" in tapped(window, bag=code, papers=paper)


def test_who_may_not_see_bags_sees_no_queue_and_a_day_that_is_none_is_refused(window: Client) -> None:
    assert browser_of(BUYER).get(QUEUE).status_code == 403
    assert window.get("/print-queue/ZZ").status_code == 404
    assert "Give the day as 2026-03-02" in words(send(window, QUEUE, act="file", day="soon", document="bag-label"))
    assert QueuedPaper.objects.filter(day=date(2026, 3, 12)).count() == 0
