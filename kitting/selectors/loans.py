"""Loans with neighbours: what was agreed, what is over there or here, since when, and what is overdue."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from inventory.models import BIN, LENT, SUPPLIER_OWNED, Balance
from inventory.selectors.finding import local_day
from kitting.errors import Refusal
from kitting.models import TO_NEIGHBOUR, Loan, LoanMove


@dataclass(frozen=True, slots=True)
class LoanStand:
    """A loan as it stands: thousandths that went over and came back, and how many days ago it was agreed."""

    loan: Loan
    over: int
    back: int
    age_days: int

    @property
    def left(self) -> int:
        """Thousandths that are still to be given back."""
        return max(self.over - self.back, 0)

    @property
    def to_hand_over(self) -> int:
        """Thousandths that were agreed and did not go over yet."""
        return 0 if self.loan.ended_why else max(self.loan.quantity - self.over, 0)

    @property
    def is_open(self) -> bool:
        """Whether anything of it is still to be done."""
        return not self.loan.ended_why and bool(self.left or self.to_hand_over)

    @property
    def is_ours(self) -> bool:
        """Whether the pieces are ours."""
        return self.loan.way == TO_NEIGHBOUR

    def is_overdue(self, today: date) -> bool:
        """Whether pieces should be back by now."""
        return self.is_open and bool(self.left) and self.loan.back_by < today


def loan_stands(*, today: date, depots: Collection[str] = ()) -> list[LoanStand]:
    """Loans of these depots (none: all), open ones first, the first due first; two queries."""
    found = Loan.objects.select_related("item", "depot", "agreed").prefetch_related("moves")
    rows = found.filter(depot__depot__in=depots) if depots else found
    stands = [_stand(loan, loan.moves.all(), today) for loan in rows.order_by("back_by", "pk")]
    return sorted(stands, key=lambda one: not one.is_open)


def stand_of(loan: Loan, today: date) -> LoanStand:
    """How one loan stands; one query."""
    return _stand(loan, LoanMove.objects.filter(loan=loan), today)


def loan_by_number(number: int) -> Loan:
    """A loan with its item and depot; one query.

    Raises:
        Refusal: ``no-open-loan``.
    """
    found = Loan.objects.select_related("item", "depot", "agreed").filter(pk=number).first()
    if found is None:
        raise Refusal("no-open-loan", f"There is no loan {number}.", {"loan": number})
    return found


def lots_with(neighbour: str) -> set[int]:
    """Numbers of the lots that went over to a neighbour or came from them, by any loan; one query."""
    return {*LoanMove.objects.filter(loan__neighbour=neighbour).values_list("lot", flat=True)}


def to_give_back(loan: Loan) -> list[Balance]:
    """What may be given back: what lies lent with the neighbour; else the neighbour's own pieces, then ours in bins."""
    found = Balance.objects.filter(place__depot=loan.depot, lot__item=loan.item, quantity__gt=0)
    kept = found.select_related("lot__item", "place__depot").order_by("place__code", "pk")
    if loan.way == TO_NEIGHBOUR:
        return [*kept.filter(place__kind=LENT, place__code=loan.neighbour)]
    theirs = lots_with(loan.neighbour)
    lying = [*kept.filter(place__kind__in=(SUPPLIER_OWNED, BIN))]
    own = [one for one in lying if one.place.kind == SUPPLIER_OWNED and one.lot_id in theirs]
    return own + [one for one in lying if one.place.kind == BIN]


def _stand(loan: Loan, moves: "Sequence[LoanMove] | QuerySet[LoanMove]", today: date) -> LoanStand:
    over, back = (sum(one.quantity for one in moves if one.back is is_back) for is_back in (False, True))
    return LoanStand(loan, over, back, (today - local_day(loan.depot, loan.agreed.at)).days)
