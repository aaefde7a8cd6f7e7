"""Loans with neighbours: what was agreed, what is over there or here, since when, and what is overdue."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from inventory.selectors.finding import local_day
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


def _stand(loan: Loan, moves: "Sequence[LoanMove] | QuerySet[LoanMove]", today: date) -> LoanStand:
    over, back = (sum(one.quantity for one in moves if one.back is is_back) for is_back in (False, True))
    return LoanStand(loan, over, back, (today - local_day(loan.depot, loan.agreed.at)).days)
