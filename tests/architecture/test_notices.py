"""Whatever is addressed to a role is told on the page of notices, in words of its own; and nothing else is listed."""

import ast
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from django.urls import reverse

from kitting.models import EXTEND_DATE, RELEASE_HOLD, SHORT_ISSUE, TO_BORROW
from kitting.models.bags import LOST, SCRAPPED
from kitting.selectors.notice_kinds import KINDS
from kitting.services import record_events

SERVICES = Path(record_events.__file__).parent
# Functions that record an event: the place of its name among the arguments, and that of the role where it has one.
MAKERS = {
    "Happening": (0, 3),
    "settled": (2, None),
    "_record": (1, None),
    "_happening": (1, 4),
    "_tell": (1, 3),
    "turn_down": (1, 0),
}
# What the braces of a name may stand for, where no constant of the module says so.
MAY_BE = {
    ("bag_requests", "request.what"): (SHORT_ISSUE, TO_BORROW),
    ("lot_requests", "request.what"): (RELEASE_HOLD, EXTEND_DATE),
    ("return_bags", "deed"): (LOST, SCRAPPED),
}
TOLD_NOBODY = {"bag still good", "bag closed", "counted"}  # each stands beside a name that is told, in one call
OWN_PAGES = {"job", "bag", "lot", ""}


def _names(module: str, function: ast.FunctionDef, found: ast.expr) -> Iterator[str]:
    """The texts that an expression can be, inside a function; of its parameters its callers tell."""
    if isinstance(found, ast.Constant):
        yield str(found.value)
    elif isinstance(found, ast.IfExp):
        yield from _names(module, function, found.body)
        yield from _names(module, function, found.orelse)
    elif isinstance(found, ast.JoinedStr):
        texts = [""]
        for part in found.values:
            value = part.value if isinstance(part, ast.FormattedValue) else part
            ends = [*MAY_BE.get((module, ast.unparse(value)), ()), *_names(module, function, value)]
            texts = [text + end for text in texts for end in ends]
        yield from texts
    elif isinstance(found, ast.Subscript):
        yield from getattr(import_module(f"kitting.services.{module}"), ast.unparse(found.value)).values()
    elif isinstance(found, ast.Name):
        inside = [
            one.value for one in ast.walk(function)
            if isinstance(one, ast.Assign) and ast.unparse(one.targets[0]) == found.id
        ]  # fmt: skip
        for value in inside:
            yield from _names(module, function, value)
        known = getattr(import_module(f"kitting.services.{module}"), found.id, None)
        if isinstance(known, str) and not inside:
            yield known


def _addressed(call: ast.Call, place: int | None) -> bool:
    given = [one.value for one in call.keywords if one.arg == "addressed_to"]
    if place is not None and len(call.args) > place:
        given.append(call.args[place])
    return any(not (isinstance(one, ast.Constant) and not one.value) for one in given)


def _made() -> set[str]:
    found: set[str] = set()
    for path in SERVICES.glob("*.py"):
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(function, ast.FunctionDef):
                continue
            for call in ast.walk(function):
                if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in MAKERS:
                    at, role = MAKERS[call.func.id]
                    if _addressed(call, role):
                        named = [one.value for one in call.keywords if one.arg == "name"]
                        for name in (*call.args[at : at + 1], *named):
                            found.update(_names(path.stem, function, name))
    return found - TOLD_NOBODY


def test_every_notice_that_can_be_made_says_what_to_do_and_where_and_no_other_is_listed() -> None:
    assert _made() == set(KINDS)
    assert all(kind.do for kind in KINDS.values())
    for page in {kind.page for kind in KINDS.values()} - OWN_PAGES:
        assert reverse(page)


def test_what_settles_a_notice_is_an_event_that_the_code_can_record() -> None:
    """Its name stands in the code of a service, or it is told to somebody itself."""
    code = "".join(path.read_text(encoding="utf-8") for path in SERVICES.glob("*.py"))
    names = {name for kind in KINDS.values() for name in kind.settled_by}
    assert {name for name in names if f'"{name}"' not in code} - set(KINDS) == set()
