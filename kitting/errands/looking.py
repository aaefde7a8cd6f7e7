"""Look at what a draft of rules would change, and at what was installed or decided, against today's rules."""

from dataclasses import asdict

from kitting.errands.planning import MOST_CHANGES
from kitting.errors import Refusal
from kitting.models import Errand, Person
from kitting.selectors.bag_contents import bare
from kitting.selectors.clock import day_at
from kitting.selectors.recheck_installed import recheck_installed
from kitting.selectors.stand_ins import lines_on_ended
from kitting.services.ask_errands import end_errand, note_stage
from kitting.services.publish_rules import look_at_draft

LOOK_AT_DRAFT, RECHECK = "look at draft", "check against today's rules"


def look_at_rules(errand: Errand) -> None:
    """Run a draft's examples, list gaps and overlaps, and plan without and with it.

    Raises:
        Refusal: as ``look_at_draft``; ``nobody``: who asked is not among the people any more.
    """
    person = Person.objects.filter(name=errand.asked_by).first()
    if person is None:
        raise Refusal("nobody", f"{errand.asked_by} is not among the people any more.", {})
    note_stage(errand, "planning without and with it")
    look = look_at_draft(number=errand.given["draft"], actor=person.actor(), at=errand.asked_at)
    result = {
        "failed": [asdict(one) for one in look.failed],
        "tables": [
            {"table": name, "gaps": len(found.gaps), "overlaps": len(found.overlaps),
             "new": [*look.new[name].gaps, *look.new[name].overlaps]}
            for name, found in look.coverage.items()
        ],
        "lines": [asdict(one) for one in look.changes[:MOST_CHANGES]],
        "count": len(look.changes),
        "bags": list(look.bags),
    }  # fmt: skip
    end_errand(errand, result=result)


def check_again(errand: Errand) -> None:
    """Every installed piece against the rule book of the day, and promised pieces of stand-ins that have ended.

    Raises:
        Refusal: the rule book can't be read.
    """
    day = day_at(errand.asked_at)
    found = recheck_installed(day)
    note_stage(errand, "stand-ins that have ended")
    ended = lines_on_ended(today=day)
    result = {
        "rows": [{**asdict(one), "quantity": bare(one.quantity)} for one in found.rows[:MOST_CHANGES]],
        "count": len(found.rows),
        "checked": bare(found.checked),
        "ended": [{**asdict(one), "quantity": bare(one.quantity), "ended": str(one.ended or "")} for one in ended],
    }
    end_errand(errand, result=result)
