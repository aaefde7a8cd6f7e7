"""Policies as the records have them."""

from decimal import Decimal

from kitting.calculation.quantities import PER_UNIT
from kitting.calculation.sheets.policies import Policies
from kitting.models import Policy

MARGIN, COUNT_LIMIT = "expiry margin days", "count limit"


def margin_days() -> int:
    """Days beyond the cutover for which a lot must still be good."""
    kept = Policy.objects.filter(policy=MARGIN).first()
    return int(kept.value) if kept else 0


def count_limit() -> int:
    """Thousandths by which a count may differ from the books without another person's approval."""
    kept = Policy.objects.filter(policy=COUNT_LIMIT).first()
    return int((Decimal(kept.value) if kept else Policies().count_limit) * PER_UNIT)


def paper_choices() -> tuple[str, str, bool]:
    """The paper to print on, the wording, and whether the books are a demo's."""
    kept = dict(Policy.objects.values_list("policy", "value"))
    return kept.get("paper") or "Letter", kept.get("wording") or "splice", kept.get("demo", "").lower() == "yes"
