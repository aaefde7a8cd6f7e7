"""Pages timed on large books: the server's time for a page beside its own queries run bare, and how many those are."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from random import Random
from time import perf_counter

from django.db import connection
from django.db.models import Count
from django.test import Client
from django.test.utils import CaptureQueriesContext, override_settings
from django.urls import reverse

from inventory.models import OPENING, Action, Lot, Movement, Place
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.management.benchmarks.main_job_data import AS_OF, made_up_book
from kitting.management.benchmarks.stock import AT
from kitting.management.in_columns import in_columns
from kitting.models import Person, PlanRow
from kitting.roles import ROLES, Actor
from kitting.selectors.cutovers import cutovers
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.list_bags import list_bags
from kitting.services.load_sheets import load_sheets

ITEMS, LOTS = 5_000, 5_000
RUNS = 10  # of a job, about as many as the demo's have
BAGGED = 10  # jobs whose bags are listed: those of the next days
_ROUNDS, _BATCH, _PIECE = 3, 5_000, 1_000


@dataclass(frozen=True, slots=True)
class Page:
    """A page that was timed: queries, seconds of the whole and of its queries alone, and its bytes as sent."""

    name: str
    queries: int
    whole: float
    bare: float
    size: int

    @property
    def ratio(self) -> float:
        """How many times its bare queries the page takes."""
        return self.whole / self.bare if self.bare else 0.0


def large_books(jobs: int, movements: int) -> None:
    """Load, plan and apply a made-up book of so many jobs; add movements of its lots."""
    raw = made_up_book(jobs * RUNS, items=ITEMS, lots=LOTS, runs_a_job=RUNS)
    load_sheets(raw=raw, by="bench", at=AT, source="bench")
    sheets = sheets_from_records(AS_OF)
    apply_plan(reviewed=ReviewedPlan(sheets, plan(read_book(sheets), as_of=AS_OF)), by="bench", at=AT)
    for one in cutovers()[:BAGGED]:
        list_bags(job=one.job.job, actor=Actor("bench", frozenset(ROLES)), at=AT, action=f"list {one.job.job}")
    lots, places = [*Lot.objects.all()], [*Place.objects.all()]
    chance = Random(1)  # noqa: S311 - an example, no secret
    for first in range(0, movements, _BATCH):
        action = Action.objects.create(number=f"bulk {first}", use_case="receive", by="bench", at=AT)
        Movement.objects.bulk_create(
            Movement(
                action=action, line=line, lot=chance.choice(lots), quantity=_PIECE, origin=OPENING,
                to_place=chance.choice(places),
            )
            for line in range(min(_BATCH, movements - first))
        )  # fmt: skip


def addresses() -> Iterable[tuple[str, str]]:
    """The pages that grow with the books, each with an address of a thing of which much is on them."""
    requirements = PlanRow.objects.filter(table="requirements")
    job = requirements.values("job").annotate(lines=Count("pk")).order_by("-lines")[0]["job"]
    lot = Lot.objects.annotate(moves=Count("movements")).order_by("-moves").select_related("item")[0]
    yield "home", reverse("home")
    yield "cutovers", reverse("cutovers")
    yield "job", reverse("job", args=[job])
    yield "questions", reverse("questions")
    yield "bags", reverse("bags")
    yield "stock", f"{reverse('stock')}?kind={lot.item.kind.replace(' ', '+')}"
    yield "item", reverse("item", args=[lot.item.stock_code])
    yield "lot", reverse("lot", args=[f"{lot.item.stock_code}/{lot.number}"])
    yield "use-by dates", reverse("stock-dates")
    yield "receive", reverse("receive")
    yield "transfers", reverse("transfers")
    yield "buying", reverse("buying")
    yield "orders", reverse("orders")
    yield "to approve", reverse("to-approve")
    yield "exceptions", reverse("exceptions")


def measure_pages() -> list[Page]:
    """Each page as somebody of every role sees it, best of three."""
    person = Person.objects.create(sign_in="bench", name="bench", roles=[*ROLES])
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    with override_settings(ALLOWED_HOSTS=["testserver"]):
        return [_measure(client, name, address) for name, address in addresses()]


def _measure(client: Client, name: str, address: str) -> Page:
    asked = partial(client.get, address, headers={"accept-encoding": "gzip"})
    with CaptureQueriesContext(connection) as taken:
        answer = asked()
    if answer.status_code != 200:
        raise RuntimeError(f"{address} answers {answer.status_code}")
    every = [query["sql"] for query in taken.captured_queries]
    statements = [sql for sql in every if sql.startswith("SELECT")]

    def bare() -> None:
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement.replace("%", "%%"))
                cursor.fetchall()

    whole = _best(asked)
    return Page(name, len(every), whole, _best(bare), len(answer.content))


def _best(deed: Callable[[], object]) -> float:
    times = []
    for _ in range(_ROUNDS):
        start = perf_counter()
        deed()
        times.append(perf_counter() - start)
    return min(times)


def pages_text(pages: Iterable[Page]) -> str:
    """The measurements in columns."""
    rows = [("page", "queries", "server ms", "bare ms", "ratio", "kB")]
    rows += [
        (one.name, str(one.queries), f"{one.whole * 1000:.0f}", f"{one.bare * 1000:.0f}", f"{one.ratio:.1f}",
         f"{one.size / 1000:.0f}")
        for one in pages
    ]  # fmt: skip
    return in_columns(rows)
