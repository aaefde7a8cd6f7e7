"""The six answers, worst first."""

CONFLICT = "conflict"
NO_RULE = "no rule"
CANT_TELL = "can't tell"
SHORT = "short"
READY_IF = "ready if"
READY = "ready"

WORST_FIRST = (CONFLICT, NO_RULE, CANT_TELL, SHORT, READY_IF, READY)


def worst(answers: "set[str]") -> str:
    """The worst of some answers; nothing to do is ready."""
    return next((answer for answer in WORST_FIRST if answer in answers), READY)
