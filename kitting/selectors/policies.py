"""Policies as the records have them."""

from kitting.models import Policy

MARGIN = "expiry margin days"


def margin_days() -> int:
    """Days beyond the cutover for which a lot must still be good."""
    kept = Policy.objects.filter(policy=MARGIN).first()
    return int(kept.value) if kept else 0
