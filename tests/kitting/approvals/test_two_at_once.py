"""Two people decide about one request in the same moment: one does, the other is told; nothing happens twice."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from people import STORES, person
from record_books import AT, everything, load

from inventory.models import Action, Movement
from kitting.errors import Refusal
from kitting.models import Event, Pin, ReserveRelease
from kitting.services.release_reserve import ask_reserve, release_reserve


@pytest.mark.django_db(transaction=True)
def test_of_two_duty_supervisors_one_releases_the_reserve_and_the_other_is_told_who() -> None:
    stock = "stock code,depot,place,place kind,lot,use by,quantity\nEL-1,N,N-R-1,reserve,L-1,,9\nEL-1,N,A-1,bin,,,1"
    load(everything(stock=stock, levels="stock code,depot,min,max,reserve floor\nEL-1,N,,,9"))
    before = Movement.objects.count()
    line = "J1/P1-a/r1-from/ABC/elbow"
    request = ask_reserve(
        stock_code="EL-1", depot="N", quantity=3000, job="J1", line=line, why="short", actor=STORES, at=AT
    )
    meeting = Barrier(2, timeout=60)

    def release(name: str) -> str:
        try:
            meeting.wait()
            release_reserve(
                number=request.pk,
                place="A-1",
                reason="no other source",
                actor=person(name, "duty supervisor"),
                at=AT,
                action=f"release by {name}",
            )
        except Refusal as refusal:
            return refusal.message
        finally:
            connection.close()
        return ""

    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(release, ("J. Brandt", "K. Ito"))
    winner = ReserveRelease.objects.get().decided_by
    assert {first, second} == {"", f"The {request} is approved by {winner} already."}
    assert (Movement.objects.count() - before, Pin.objects.filter(line=line, item__stock_code="EL-1").count()) == (1, 2)
    assert Action.objects.filter(use_case="release reserve").count() == 1
    assert Event.objects.filter(name="reserve released").count() == 1
