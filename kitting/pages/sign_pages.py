"""Sign for what is installed at a bag's location: what is on each end, what is missing, who signed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.urls import reverse

from kitting.models import Bag
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field, of_bag, signature_of
from kitting.pages.typed import back_with_typed
from kitting.selectors.bag_contents import label_code
from kitting.selectors.end_signatures import EndSignature, end_name, end_signatures
from kitting.selectors.fit_margins import fit_margin
from kitting.selectors.installed_ends import EndRecord, Fitted, ends_of, histories
from kitting.selectors.sight import names_as_read_by
from kitting.services.sign_ends import sign_ends


@dataclass(frozen=True, slots=True)
class EndToSign:
    """An end on the page: its name, its position, what is on it, what it lacks, and who signed for it."""

    name: str
    position: str
    on_it: Sequence[tuple[str, bool]]
    lacks: str
    signed: str
    is_signed: bool


@of_bag
def sign_ends_page(asked: Asked, one: Bag) -> HttpResponse:
    """The ends of a bag, each with what is on it; those of which every phase is noted may be signed for."""
    code = label_code(one)
    here = reverse("sign-ends", args=[code])
    if asked.request.method == "POST":
        positions = asked.request.POST.getlist("position")

        def deed() -> tuple[str, str]:
            signature = signature_of(asked, one.depot.depot)
            signed = sign_ends(bag=code, positions=positions, signature=signature, **asked.scan())
            return "SIGNED", f"{', '.join(signed)}, by {signature}."

        return attempt(asked, deed, here, back=back_with_typed(asked, here))
    records = [end for end in ends_of(one.job.job) if end.structure == one.structure]
    keys = [(end.structure, end.position) for end in records]
    fitted, signatures = histories(keys), end_signatures(keys)
    read_name = names_as_read_by(asked.actor)
    ends = [
        _end(asked, end, fitted[key], signatures.get(key), read_name) for end, key in zip(records, keys, strict=True)
    ]
    fields = [
        Field("signature", "Signed by (name)", asked.text("signature")),
        Field("crew_pin", "Their own PIN, where they have an account here", kind="password", required=False),
    ]
    context = {"bag": one, "code": code, "ends": ends, "fields": fields,
               "to_sign": any(not end.lacks and not end.is_signed for end in ends)}  # fmt: skip
    return page(asked, "sign_ends.html", context)


def _end(
    asked: Asked, end: EndRecord, fitted: Sequence[Fitted], signature: EndSignature | None,
    read_name: Callable[[str], str],
) -> EndToSign:  # fmt: skip
    key = (end.structure, end.position)
    stands = signature is not None and signature.covers(fitted)
    told = ""
    if signature:
        told = f"signed by {signature.signer(read_name)} {signature.at.astimezone(asked.zone):%Y-%m-%d %H:%M}"
        told += "" if stands else "; changed since, sign again"
    lacks = end.sentence if end.is_open else ""
    return EndToSign(end_name(key), end.position, [_on_it(one) for one in fitted if one.left], lacks, told, stands)


def _on_it(one: Fitted) -> tuple[str, bool]:
    """A part on the end with its lot and how well it fits, and whether it was found not to fit."""
    return one.words, fit_margin(one.entry).is_outside
