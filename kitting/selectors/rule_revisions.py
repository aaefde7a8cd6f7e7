"""Which revision of each decision table is live."""

from kitting.models import RuleRevision


def live_rules() -> dict[str, RuleRevision]:
    """The live revision of each table, by the table's name; one query."""
    found = RuleRevision.objects.order_by("table", "number")
    return {revision.table: revision for revision in found}
