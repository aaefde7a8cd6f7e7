"""Marks and tables of the pages: the six answers by word and shape, tables that become cards, numbers of actions."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Any

from django import template
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from kitting.pages import routes
from kitting.pages.asked import Asked, new_action
from kitting.pages.bag_forms import Field
from kitting.pages.photographed import LOOK, way_to_go_on
from kitting.pages.tables import Table

register = template.Library()
_HYPHENED = re.compile(r"(?<![\w/&;-])(?=[\w.-]{3,16}(?![\w/-]))[A-Z0-9][A-Z0-9.]*(?:-[A-Z0-9]+(?:\.[0-9]+)?)+")

# The shapes that the papers print, so that a person learns them once; 16 x 16.
_SHAPES: Mapping[str, str] = MappingProxyType(
    {
        "ready": '<rect x="2" y="2" width="12" height="12" class="solid"/>',
        "ready if": '<rect x="2" y="2" width="12" height="12"/><rect x="2" y="8" width="12" height="6" class="solid"/>',
        "short": '<path d="M2 14h12L8 2z" class="solid"/>',
        "can't tell": '<path d="M8 1l7 7-7 7-7-7z"/>',
        "no rule": '<circle cx="8" cy="8" r="6.5"/><path d="M3.5 3.5l9 9"/>',
        "conflict": '<path d="M2 2l12 12M14 2L2 14"/>',
    }
)


@register.simple_tag
def storm_mark() -> SafeString:
    """The shape that stands beside the word where a storm is on."""
    return mark_safe(
        '<svg class="bolt" viewBox="0 0 12 16" aria-hidden="true"><path d="M7 0 1 9h4l-1 7 7-10H7z"/></svg>'
    )


@register.simple_tag
def answer_mark(answer: str) -> SafeString:
    """One of the six answers: its shape and its word."""
    if answer not in _SHAPES:
        return format_html("{}", answer or "–")
    shape = mark_safe(_SHAPES[answer])  # noqa: S308 - our own drawing
    return format_html(
        '<span class="answer answer-{}"><svg viewBox="0 0 16 16" aria-hidden="true">{}</svg>{}</span>',
        answer.replace(" ", "-").replace("'", ""), shape, answer.upper(),
    )  # fmt: skip


@register.inclusion_tag("kitting/_table.html", takes_context=True)
def table(context: Mapping[str, Any], given: Table) -> dict[str, Any]:
    """A table of rows at a desk and of cards on a phone; it leads only to what the person may see."""
    asked: Asked = context["asked"]
    typed = asked.request.GET.copy()
    part = given.part(typed.get(given.key, ""))
    others = []
    for words, number in part.others:
        typed[given.key] = str(number)
        others.append((words, f"?{typed.urlencode()}#{given.key}"))
    return {"table": given, "part": part, "others": others, "asked": asked}


@register.inclusion_tag("kitting/_photograph.html", takes_context=True)
def photograph(
    context: Mapping[str, Any], of: str | Sequence[Field], way: str = "", *, to: str = "", looks: bool = False
) -> dict[str, Any]:
    """The control with which a code is photographed instead of scanned; it stands after the button that Enter presses.

    Args:
        context: the page's.
        of: the field to scan into; or all of the form, of which those to scan into are offered, empty ones first.
        way: what becomes of the form once the code is read, where its fields don't tell.
        to: where a form that only looks something up is sent, if not here.
        looks: whether it is such a form, sent by its address.
    """
    fields = (Field(of, "", scans=True),) if isinstance(of, str) else of
    found = sorted((one for one in fields if one.scans), key=lambda one: bool(one.value))
    way = way or way_to_go_on(fields)
    return {
        "fields": found, "of": found[0].name if len(found) == 1 else "", "way": way, "looks": looks or way == LOOK,
        "to": to or context["request"].path, "csrf_token": context["csrf_token"],
    }  # fmt: skip


@register.filter
def unbroken(text: object) -> SafeString:
    """Text in which a short code or day is not to be broken at its hyphens."""
    return mark_safe(_HYPHENED.sub(r'<span class="whole">\g<0></span>', conditional_escape(str(text))))  # noqa: S308 - escaped


@register.filter
def typed(asked: Asked, name: str) -> str:
    """What was typed into a field before its form was refused, as the address keeps it; '' where nothing was."""
    return asked.request.GET.get(name, "")


@register.filter
def may_see(asked: Asked, route: str) -> bool:
    """Whether the person may look at the page of a route; '' is the page that they look at."""
    return not route or routes.may_see(asked.actor, route)


@register.simple_tag
def action_number() -> SafeString:
    """The number of the action that a form asks for: made with the form, so that it acts once however often sent."""
    return format_html('<input type="hidden" name="action" value="{}">', new_action())


@register.simple_tag
def print_number() -> SafeString:
    """The same for a form that prints: the script counts it on, so that what is printed again is another print."""
    return format_html('<input type="hidden" name="action" value="{}" data-print>', new_action())


@register.simple_tag
def moment(asked: Asked, at: datetime | None) -> str:
    """A moment where the person is: ``2026-03-14 02:10 CDT``."""
    return f"{at.astimezone(asked.zone):%Y-%m-%d %H:%M %Z}" if at else "–"
