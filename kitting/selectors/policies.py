"""Policies as the records have them."""

from kitting.models import Policy

MARGIN = "expiry margin days"


def margin_days() -> int:
    """Days beyond the cutover for which a lot must still be good."""
    kept = Policy.objects.filter(policy=MARGIN).first()
    return int(kept.value) if kept else 0


def paper_choices() -> tuple[str, str, bool]:
    """The paper to print on, the wording, and whether the books are a demo's."""
    kept = dict(Policy.objects.values_list("policy", "value"))
    return kept.get("paper") or "Letter", kept.get("wording") or "splice", kept.get("demo", "").lower() == "yes"
