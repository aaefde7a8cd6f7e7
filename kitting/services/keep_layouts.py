"""Keep a column layout for lists of a shape, in the place of the one before if there is one; withdraw it."""

from collections.abc import Sequence
from datetime import datetime

from inventory.services.actions import use_case
from jobs.models import NAME_LENGTH
from kitting.errors import Refusal
from kitting.models import KeptLayout
from kitting.roles import DO, Actor, require
from kitting.services.record_events import Happening, lock_chain, record_events

_RIGHT = "sheets"


@use_case
def keep_layout(*, name: str, shape: str, headings: Sequence[str], text: str, actor: Actor, at: datetime) -> KeptLayout:
    """Keep a layout; a live one of the same name, or for the same shape, is replaced by it and stays to be looked at.

    Args:
        name: what people call it; a new revision of that name.
        shape: digest of the headings, see ``spreadsheets.list_headings``.
        headings: the headings in their order.
        text: the layout as TOML, checked by whoever asks.
        actor, at: who keeps it, and when.

    Raises:
        Refusal: ``no-name``; ``same-layout``: the live one says the same already; ``other-shape``: the name is that of
            the layout for other headings; ``not-allowed``.
    """
    require(actor, _RIGHT, DO)
    name = " ".join(name.split())
    if not name or len(name) > NAME_LENGTH:
        raise Refusal("no-name", f"Give the layout a name, in at most {NAME_LENGTH} characters.", {"name": name})
    lock_chain()
    named = KeptLayout.objects.filter(name=name, live=True).first()
    if named is not None and named.shape != shape:
        message = (
            f"{named} reads lists with other headings ({', '.join(filter(None, named.headings))}). "
            "Give this one another name, or withdraw that one first."
        )
        raise Refusal("other-shape", message, {"name": name})
    before = KeptLayout.objects.filter(shape=shape, live=True).first()
    if before is not None and (before.name, before.text) == (name, text):
        raise Refusal("same-layout", f"{before} says the same already; nothing was kept.", {"layout": before.pk})
    last = KeptLayout.objects.filter(name=name).order_by("-revision").first()
    kept = KeptLayout(
        name=name, revision=last.revision + 1 if last else 1, shape=shape, headings=list(headings), text=text,
        kept_by=actor.name, kept_at=at,
    )  # fmt: skip
    if before is not None:
        _end(before, f"replaced by {kept}", actor, at)
    kept.save()
    told = {"headings": list(headings), "text": text, "before": str(before) if before else ""}
    record_events([Happening("column layout kept", str(kept), told)], by=actor.name, at=at)
    return kept


@use_case
def withdraw_layout(*, number: int | str, reason: str, actor: Actor, at: datetime) -> KeptLayout:
    """Read no more lists by a layout: lists of its shape are asked about again.

    Raises:
        Refusal: ``no-reason``; ``not-live``: it is not live any more; ``not-allowed``.
    """
    require(actor, _RIGHT, DO)
    if not reason.strip():
        raise Refusal("no-reason", "Say why the layout is withdrawn.", {"layout": number})
    lock_chain()
    found = KeptLayout.objects.filter(pk=number, live=True).first()
    if found is None:
        raise Refusal("not-live", "This layout is not live any more; nothing was changed.", {"layout": number})
    _end(found, reason.strip(), actor, at)
    record_events([Happening("column layout withdrawn", str(found), {"reason": reason.strip()})], by=actor.name, at=at)
    return found


def _end(layout: KeptLayout, why: str, actor: Actor, at: datetime) -> None:
    layout.live, layout.ended_by, layout.ended_at, layout.ended_why = False, actor.name, at, why
    layout.save(update_fields=("live", "ended_by", "ended_at", "ended_why"))
