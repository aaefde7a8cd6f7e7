"""What is on each end of the line, since when and from which lot, what was there before; and parts taken off it."""

from collections.abc import Sequence
from datetime import datetime
from urllib.parse import urlencode

from django.db.models import Count, Max
from django.db.models.fields.json import KeyTextTransform
from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.quantities import as_decimal
from kitting.models import BagEntry
from kitting.models.bags import FATES, FITTED, ON_PAPER
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.failure_pages import failures_table
from kitting.pages.picture_pages import pictures_shown
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, typed_quantity
from kitting.roles import DO, SEE
from kitting.selectors.bag_contents import bare
from kitting.selectors.end_signatures import end_name, end_signatures
from kitting.selectors.failures import failures_at
from kitting.selectors.fit_margins import fit_margin
from kitting.selectors.installed_ends import EndKey, Fitted, history
from kitting.selectors.pictures import pictures_of_end
from kitting.selectors.sight import names_as_read_by
from kitting.services.report_failures import FAILURE
from kitting.services.retire_parts import AS_INSTALLED, retire

_HEADS = ("Phase", "Part", "Pieces", "Since, from", "Fit and rule", "Taken off")


def ends(asked: Asked) -> HttpResponse:
    """Ends of a structure, or one end with all that was ever on it; a form notes what was taken off."""
    structure, position = asked.text("structure"), asked.text("position")
    if asked.request.method == "POST":
        address = _address(structure, position)
        return attempt(asked, lambda: _taken_off(asked), address, back=back_with_typed(asked, reverse("ends")))
    if position or (structure and "position" in asked.request.GET):
        return _end(asked, structure, position)
    rows = [
        [Cell(end_name(key), _address(*key), note="" if key[1] else "no position named"), figure(count),
         Cell(f"{last.astimezone(asked.zone):%Y-%m-%d}")]
        for key, (count, last) in _notes(structure).items()
    ]  # fmt: skip
    empty = "Nothing is noted as installed here." if structure else "Nothing is noted as installed yet."
    table = Table("Ends", ("End", "Notes", "Last"), rows, empty)
    return page(asked, "ends.html", {"table": table, "structure": structure})


def _notes(structure: str) -> dict[EndKey, tuple[int, datetime]]:
    """How much is noted at each end of structures with such a name, and when last; '' where no position is named."""
    fitted = BagEntry.objects.filter(FITTED).exclude(line__bag__structure="")
    if structure:
        fitted = fitted.filter(line__bag__structure__icontains=structure)
    # As text: else a position named 1 comes back as a number.
    planned, typed = KeyTextTransform("position", "line__facts"), KeyTextTransform("position", "facts")
    named = fitted.annotate(planned=planned, typed=typed)
    rows = named.values_list("line__bag__structure", "planned", "typed")
    found: dict[EndKey, tuple[int, datetime]] = {}
    for at, where, elsewhere, count, last in rows.annotate(Count("pk"), Max("action__at")):
        key = (at, where or elsewhere or "")
        before, latest = found.get(key, (0, last))
        found[key] = (before + count, max(latest, last))
    return dict(sorted(found.items()))


def _address(structure: str, position: str) -> str:
    return f"{reverse('ends')}?{urlencode({'structure': structure, 'position': position})}"


def _end(asked: Asked, structure: str, position: str) -> HttpResponse:
    found = history(structure, position)
    on_it = [one for one in found if one.left]
    names = asked.actor.may("names", SEE)
    tables = [
        Table("On it now", _HEADS, [_row(asked, one, names=names) for one in on_it], "Nothing is noted on it."),
        Table("Was on it", _HEADS, [_row(asked, one, names=names) for one in found if not one.left],
              "Nothing was taken off it."),
    ]  # fmt: skip
    if failed := failures_at(structure, position):
        tables.append(failures_table(asked, "Failures reported here", failed))
    choice = [(_key(one), f"{one.entry.lot} {f'phase {one.entry.phase}' if one.entry.phase else ''}") for one in on_it]
    fields = (
        {"name": "part", "label": "What came off", "options": choice, "value": asked.text("part")},
        {"name": "quantity", "label": "How many", "kind": "decimal", "required": True, "value": asked.text("quantity")},
        {"name": "fate", "label": "Where it goes; never back to stock", "options": [(one, one) for one in FATES],
         "value": asked.text("fate")},
        {"name": "why", "label": "Why", "required": True, "value": asked.text("why")},
    )  # fmt: skip
    may = bool(on_it) and asked.actor.may(AS_INSTALLED, DO)
    context = {
        "structure": structure, "position": position, "tables": tables, "fields": fields, "may_take_off": may,
        "pictures": pictures_shown(asked, pictures_of_end(structure, position)),
        "signed": _signed(asked, structure, position, found),
        "end": end_name((structure, position)), "may_report": bool(structure) and asked.actor.may(FAILURE, DO),
        "may_picture": bool(found and position) and asked.actor.may(AS_INSTALLED, DO),
    }  # fmt: skip
    return page(asked, "end.html", context)


def _signed(asked: Asked, structure: str, position: str, found: Sequence[Fitted]) -> str:
    """Who signed for what is on an end, and when."""
    one = end_signatures([(structure, position)]).get((structure, position))
    if one is None:
        return "Nobody has signed for what is on it."
    who = one.signer(names_as_read_by(asked.actor))
    changed = "" if one.covers(found) else "; it has changed since"
    return f"Signed by {who} {one.at.astimezone(asked.zone):%Y-%m-%d %H:%M}{changed}."


def _key(one: Fitted) -> str:
    return f"{one.entry.lot.item.stock_code}|{one.entry.lot.number}|{one.entry.phase}"


def _row(asked: Asked, one: Fitted, *, names: bool) -> list[Cell]:
    entry, bag = one.entry, one.entry.line.bag
    facts = {**entry.line.facts, **entry.facts}
    told = {"gauge {}": "gauge", "{}": "remark", **({"from paper by {}": ON_PAPER} if names else {})}
    noted = [words.format(facts[name]) for words, name in told.items() if facts.get(name)]
    fit = " · ".join(filter(None, (fit_margin(entry).words, *noted)))
    crew = " · ".join(filter(None, (bag.crew, entry.action.by if names or entry.action.by == asked.actor.name else "")))
    return [
        Cell(entry.phase or "–"),
        lot_cell(entry.lot.item.stock_code, entry.lot.number, entry.lot.item.stock_code),
        figure(f"{as_decimal(one.left or entry.quantity)}"),
        link(f"{entry.action.at.astimezone(asked.zone):%Y-%m-%d}", "job", bag.job.job, note=f"{bag.job.job} · {crew}"),
        Cell(fit or "–", note=" ".join(str(facts.get(name, "")) for name in ("rule", "rule_revision"))),
        Cell("; ".join(f"{bare(gone.quantity)} to {gone.fate}: {gone.why}" for gone in one.retired) or "–"),
    ]


def _taken_off(asked: Asked) -> tuple[str, str]:
    code, lot, phase = (*asked.text("part").split("|"), "", "", "")[:3]
    structure, position = asked.text("structure"), asked.text("position")
    quantity = typed_quantity(asked.text("quantity"), "How many")
    retire(
        structure=structure, position=position, stock_code=code, lot=lot, quantity=quantity, phase=phase,
        why=asked.text("why"), fate=asked.text("fate"), **asked.scan(),
    )  # fmt: skip
    end = end_name((structure, position))
    return "NOTED", f"{bare(quantity)} {code} is off {end}. What replaces it is noted from its bag."
