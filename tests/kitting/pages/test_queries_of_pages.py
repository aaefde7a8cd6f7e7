"""A page asks the books as often for many jobs, bags, pieces and notices as for few."""

from collections.abc import Iterator

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Lot
from jobs.models import Job
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book
from kitting.management.benchmarks.pages import RUNS
from kitting.management.benchmarks.stock import AT
from kitting.models import Bag, Person, PlanRow
from kitting.pages.routes import OPEN, ROUTES
from kitting.roles import ROLES, Actor
from kitting.selectors.bag_contents import label_code
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.list_bags import list_bags
from kitting.services.load_sheets import load_sheets
from kitting.services.record_events import Happening, record_events

pytestmark = pytest.mark.django_db
FEW, MANY = 5, 12
# Not pages, or led elsewhere at once; what only takes a form is left out by itself.
LEFT_OUT = {"health", "sign-out", "consumption-file", "kept-form"}  # the last leads home where nothing is kept


def books_of(jobs: int) -> None:
    """A made-up book of so many jobs, planned and applied, their bags listed and told of."""
    raw = made_up_book(jobs * RUNS, items=20 * jobs, lots=20 * jobs, runs_a_job=RUNS)
    load_sheets(raw=raw, by="bench", at=AT, source="bench")
    sheets = sheets_from_records(AS_OF)
    apply_plan(reviewed=ReviewedPlan(sheets, plan(read_book(sheets), as_of=AS_OF)), by="bench", at=AT)
    names = [*Job.objects.order_by("pk").values_list("job", flat=True)]
    for job in names:
        list_bags(job=job, actor=Actor("bench", frozenset(ROLES)), at=AT, action=f"list {job}")
    told = {"changed": {"cutover": ["2026-03-02 08:00", "2026-03-03 08:00"]}, "promises_released": 0}
    record_events([Happening("job moved", job, told, addressed_to="planner") for job in names], by="another", at=AT)
    Person.objects.create(sign_in="all", name="A. Ll", roles=[*ROLES])


def addresses() -> Iterator[tuple[str, str]]:
    """Every page without a name in its address, and one of each kind of thing of which much is on it."""
    for route in ROUTES:
        if route.sees != OPEN and not route.form_only and "<" not in route.path and route.name not in LEFT_OUT:
            yield route.name, f"/{route.path}"
    line = PlanRow.objects.filter(table="requirements").order_by("position")[0].cells
    lot = Lot.objects.select_related("item").earliest("pk")
    bag = Bag.objects.select_related("job", "depot").order_by("-job__cutover", "pk")[0]  # its day lies ahead
    yield "job", reverse("job", args=[line["job"]])
    yield "line", f"{reverse('line', args=[line['job']])}?line={line['line']}"
    yield "history", reverse("history", args=[line["job"]])
    yield "item", reverse("item", args=[lot.item.stock_code])
    yield "lot", reverse("lot", args=[f"{lot.item.stock_code}/{lot.number}"])
    yield "bag", reverse("bag", args=[label_code(bag)])
    for name in ("pick", "issue", "day-labels", "print-queue", "propose-count"):
        yield name, reverse(name, args=[bag.depot.depot])


def queries_of_pages() -> dict[str, int]:
    """How often each page asks."""
    client, counts = Client(), {}
    client.force_login(Person.objects.get(name="A. Ll"), backend="django.contrib.auth.backends.ModelBackend")
    for name, address in addresses():
        client.get(address)
        with CaptureQueriesContext(connection) as taken:
            answer = client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.status_code}"
        counts[name] = len(taken)
    return counts


def test_no_page_asks_more_often_when_there_is_more_on_it() -> None:
    counts = []
    for jobs in (FEW, MANY):
        before = transaction.savepoint()
        books_of(jobs)
        counts.append(queries_of_pages())
        transaction.savepoint_rollback(before)
    few, many = counts
    assert few.keys() == many.keys()
    assert len(few) > 50
    assert {name: (few[name], many[name]) for name in few if many[name] > few[name]} == {}
