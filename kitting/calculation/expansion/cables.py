"""Which cable is it? The facts of a run's cable, each with its origin, or what is missing.

The reel beats the cable type, the type beats the row; a fact that contradicts reel or type is asked, never settled.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from kitting.calculation.cable_geometry import Band, possible_dois
from kitting.calculation.lengths import NM_PER_MIL, both, mm_text
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact, records
from kitting.calculation.sheets.book import Book

# Field of the schedule and cable types sheets, and its label: the facts that tell one cable type from another.
IDENTIFYING: tuple[tuple[str, str], ...] = (
    ("conductor_size", "conductor size"),
    ("metal", "metal"),
    ("wall_nm", "wall"),
    ("insulation_level", "insulation level"),
    ("cable_class_kv", "cable class kV"),
    ("insulation", "insulation"),
    ("strand", "strand"),
    ("shield", "shield"),
    ("jacketed", "jacketed"),
)
BANDS: tuple[tuple[str, str, str], ...] = (
    ("doi_low_nm", "doi_high_nm", "DOI low"),
    ("jacket_low_nm", "jacket_high_nm", "jacket low"),
)
CABLE_FIELDS: tuple[str, ...] = tuple(field for field, _ in IDENTIFYING) + tuple(
    field for low, high, _ in BANDS for field in (low, high)
)


@dataclass(frozen=True, slots=True)
class Cable:
    """The facts of one cable that rules and checks read. ``doi`` and ``jacket`` are bands in nanometres."""

    type_code: str
    conductor_size: Fact
    metal: Fact
    strand: Fact
    insulation: Fact
    jacketed: Fact
    shield: Fact
    cores: Fact
    cable_class_kv: Fact
    doi: Fact
    jacket: Fact


def unknown_cable(missing: Missing) -> Cable:
    """A cable of which nothing is known, for one and the same reason."""
    return Cable("", *(missing,) * 10)


class CableResolver:
    """Finds the cable of a row by reel, by type, or by the facts on the row; each distinct row is worked out once.

    Equal cables are one object, so that what was worked out for one is found by its identity.
    """

    def __init__(self, book: Book) -> None:
        self._types = _by_key(book, "cable types", "cable_type")
        self._reels = _by_key(book, "reels", "reel")
        self._known: dict[tuple[Fact, ...], Cable] = {}
        self._cables: dict[Cable, Cable] = {}

    def of_row(self, row: Mapping[str, Fact], reel: Fact) -> Cable:
        """The cable of a schedule row on one reel (None: no reel given)."""
        key = (row["cable_type"], reel, *(row[field] for field in CABLE_FIELDS))
        cable = self._known.get(key)
        if cable is None:
            found = self._find(row, reel)
            cable = self._known[key] = self._cables.setdefault(found, found)
        return cable

    def of_type(self, code: str) -> Cable:
        """The cable that a position names as existing there."""
        blank: dict[str, Fact] = dict.fromkeys(CABLE_FIELDS)
        return self.of_row({"cable_type": code, **blank}, None)

    def reel_length_nm(self, cable: Cable) -> Fact:
        """Length of a full reel of this cable's type in nanometres, or None where no sheet says."""
        kind = self._types.get(cable.type_code)
        return None if kind is None else kind["reel_length_nm"]

    def length_left_nm(self, reel: str) -> Fact:
        """Length left on a reel in nanometres, or None."""
        record = self._reels.get(reel)
        return None if record is None else record["length_left_nm"]

    def _find(self, row: Mapping[str, Fact], reel: Fact) -> Cable:
        given = row["cable_type"]
        for fact in (reel, given):
            if isinstance(fact, Missing):
                return unknown_cable(fact)
        if reel is not None:
            record = self._reels[reel]
            code = record["cable_type"]
            if isinstance(code, Missing):
                return unknown_cable(code)
            if given not in (None, code):
                why = f"reel {reel} is {code} but the row says {given}"
                return unknown_cable(Missing("cable type", why, "schedule", "cable type"))
            return _from_facts(code, row, self._types[code], record)
        if given is not None:
            return _from_facts(given, row, self._types[given], None)
        if not self._types:
            return _from_facts("", row, None, None)
        return self._by_facts(row)

    def _by_facts(self, row: Mapping[str, Fact]) -> Cable:
        """The one type that agrees with every cable fact on the row; several or none can't tell."""
        agreeing = [code for code, kind in self._types.items() if not contradictions(row, kind)]
        doubtful = [row[field] for field in CABLE_FIELDS if isinstance(row[field], Missing)]
        if doubtful:
            return unknown_cable(doubtful[0])
        if len(agreeing) == 1:
            return _from_facts(agreeing[0], row, self._types[agreeing[0]], None)
        if not agreeing:
            return unknown_cable(self._nearest_type(row))
        options = [_from_facts(code, row, self._types[code], None) for code in sorted(agreeing)]
        return _one_of(row, options, [self._types[cable.type_code] for cable in options])

    def _nearest_type(self, row: Mapping[str, Fact]) -> Missing:
        misses = sorted((len(found := contradictions(row, kind)), code, found) for code, kind in self._types.items())
        _, code, found = misses[0]
        column = found[0]
        why = f"no cable type agrees with the row; nearest is {code}, which differs in {', '.join(found)}"
        return Missing("cable type", why, "schedule", column)


def _by_key(book: Book, sheet: str, key: str) -> dict[str, dict[str, Fact]]:
    return {record[key]: record for record in records(book, sheet) if isinstance(record[key], str)}


def contradictions(row: Mapping[str, Fact], kind: Mapping[str, Fact]) -> list[str]:
    """Labels of the facts on the row that the cable type denies; blank or doubtful facts deny nothing."""
    found = [
        label
        for field, label in IDENTIFYING
        if _stated(row[field]) and _stated(kind[field]) and row[field] != kind[field]
    ]
    return found + [label for low, high, label in BANDS if _apart(row[low], row[high], kind[low], kind[high])]


def _stated(fact: Fact) -> bool:
    return fact is not None and not isinstance(fact, Missing)


def _apart(low: Fact, high: Fact, other_low: Fact, other_high: Fact) -> bool:
    """True when two bands, either of whose ends may be unknown, do not overlap."""
    below = _stated(high) and _stated(other_low) and high < other_low
    above = _stated(low) and _stated(other_high) and low > other_high
    return bool(below or above)


def _from_facts(
    code: str, row: Mapping[str, Fact], kind: Mapping[str, Fact] | None, reel: Mapping[str, Fact] | None
) -> Cable:
    values = {field: _settled(field, label, row, kind, code) for field, label in IDENTIFYING}
    doi = _doi(row, kind, reel, values)
    return Cable(
        type_code=code,
        conductor_size=values["conductor_size"],
        metal=values["metal"],
        strand=values["strand"],
        insulation=values["insulation"],
        jacketed=values["jacketed"],
        shield=values["shield"],
        cores=None if kind is None else kind["cores"],
        cable_class_kv=values["cable_class_kv"],
        doi=doi,
        jacket=_jacket(row, kind),
    )


def _settled(field: str, label: str, row: Mapping[str, Fact], kind: Mapping[str, Fact] | None, code: str) -> Fact:
    """The fact from type and row: a doubtful cell or a contradiction is missing, even where the other has it."""
    own, typed = row[field], None if kind is None else kind[field]
    for fact in (own, typed):
        if isinstance(fact, Missing):
            return fact
    if own is not None and typed is not None and own != typed:
        why = f"the row says {_show(field, own)} but {code} is {_show(field, typed)}"
        return Missing(label, why, "schedule", label)
    return own if typed is None else typed


def _show(field: str, value: Fact) -> str:
    if field == "wall_nm":
        return f"{value // NM_PER_MIL} mil" if value % NM_PER_MIL == 0 else f"{mm_text(value)} mm"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _doi(
    row: Mapping[str, Fact],
    kind: Mapping[str, Fact] | None,
    reel: Mapping[str, Fact] | None,
    values: Mapping[str, Fact],
) -> Fact:
    """Band over insulation by the best origin: reel, cable type, the row, else calculated from the build."""
    doubtful = _doubtful(row, "doi_low_nm", "doi_high_nm") or (reel and _doubtful(reel, "doi_low_nm", "doi_high_nm"))
    if doubtful:
        return doubtful
    if reel is not None and _has_band(reel):
        gauge = reel["origin"] == "gauge" or reel["gauge_id"] is not None
        return _band(reel, "gauge" if gauge else "maker", fill=gauge)
    if kind is not None:
        in_type = _doubtful(kind, "doi_low_nm", "doi_high_nm")
        if in_type:
            return in_type
        if _has_band(kind):
            if _apart(row["doi_low_nm"], row["doi_high_nm"], kind["doi_low_nm"], kind["doi_high_nm"]):
                why = "the diameter on the row lies outside that of the cable type"
                return Missing("diameter over insulation", why, "schedule", "DOI low")
            return _band(kind, "cable type", fill=False)
    if _has_band(row):
        return _band(row, "schedule", fill=False)
    return _calculated(values)


def _doubtful(record: Mapping[str, Fact], *fields: str) -> Missing | None:
    return next((record[field] for field in fields if isinstance(record[field], Missing)), None)


def _has_band(record: Mapping[str, Fact]) -> bool:
    return record["doi_low_nm"] is not None or record["doi_high_nm"] is not None


def _band(record: Mapping[str, Fact], origin: str, *, fill: bool) -> Band:
    low, high = record["doi_low_nm"], record["doi_high_nm"]
    if fill:
        low, high = (high if low is None else low), (low if high is None else high)
    return Band(low, high, origin)


def _calculated(values: Mapping[str, Fact]) -> Fact:
    """The band that the standard's limits allow; a blank wall lists what each standard wall would give."""
    for field, label in (("conductor_size", "conductor size"), ("metal", "metal"), ("insulation", "insulation")):
        fact = values[field]
        if isinstance(fact, Missing):
            return fact
        if fact is None and field == "conductor_size":
            return Missing(label, f"{label} is blank", "schedule", label)
    if isinstance(values["wall_nm"], Missing):
        return values["wall_nm"]
    bands = possible_dois(
        size=values["conductor_size"],
        strand=_plain(values["strand"]),
        wall_nm=values["wall_nm"],
        cable_class_kv=_plain(values["cable_class_kv"]),
        insulation_level=_plain(values["insulation_level"]),
        metal=_plain(values["metal"]),
        insulation=_plain(values["insulation"]),
    )
    if len(bands) == 1 and isinstance(bands[0][1], Band):
        return bands[0][1]
    options = tuple((label, band) for label, band in bands)
    if not options:
        why = "neither a diameter nor a standard wall is given"
        return Missing("diameter over insulation", why, "schedule", "DOI low")
    return Missing("wall", "wall is blank", "schedule", "wall", options=options)


def _plain(fact: Fact) -> Fact:
    return None if isinstance(fact, Missing) else fact


def _jacket(row: Mapping[str, Fact], kind: Mapping[str, Fact] | None) -> Fact:
    for record in (row, kind):
        if record is not None:
            doubtful = _doubtful(record, "jacket_low_nm", "jacket_high_nm")
            if doubtful:
                return doubtful
    for record, origin in ((kind, "cable type"), (row, "schedule")):
        if record is not None and (record["jacket_low_nm"] is not None or record["jacket_high_nm"] is not None):
            return Band(record["jacket_low_nm"], record["jacket_high_nm"], origin)
    return Missing("jacket diameter", "jacket diameter is blank", "schedule", "jacket low")


def _one_of(row: Mapping[str, Fact], options: Sequence[Cable], kinds: Iterable[Mapping[str, Fact]]) -> Cable:
    """Several types agree: what they share is known, what differs is missing with what each would give."""
    kinds = tuple(kinds)
    column, labels = _telling_fact(row, kinds, [cable.type_code for cable in options])
    listed = " or ".join(labels)
    merged = options[0]
    for field in ("conductor_size", "metal", "strand", "insulation", "jacketed", "shield", "cores", "cable_class_kv",
                  "doi", "jacket"):  # fmt: skip
        values = [getattr(cable, field) for cable in options]
        if any(value != values[0] for value in values):
            pairs = tuple(zip(labels, values, strict=True))
            missing = Missing(column, f"{column} is blank: {listed}", "schedule", column, options=pairs)
            merged = replace(merged, **{field: missing})  # type: ignore[arg-type]  # every field named is a Fact
    return replace(merged, type_code="")


def _telling_fact(
    row: Mapping[str, Fact], kinds: Sequence[Mapping[str, Fact]], codes: Sequence[str]
) -> tuple[str, list[str]]:
    """The first blank fact that tells the types apart, and what each type has there."""
    for field, label in IDENTIFYING:
        values = [kind[field] for kind in kinds]
        if row[field] is None and all(_stated(value) for value in values) and len(set(values)) == len(values):
            return label, [f"{_show(field, value)} ({code})" for value, code in zip(values, codes, strict=True)]
    for field, label in IDENTIFYING:
        values = [kind[field] for kind in kinds]
        if row[field] is None and len(set(values)) > 1:
            shown = ["blank" if value is None else _show(field, value) for value in values]
            return label, [f"{text} ({code})" for text, code in zip(shown, codes, strict=True)]
    return "cable type", [f"{code}{_shown_band(kind)}" for kind, code in zip(kinds, codes, strict=True)]


def _shown_band(kind: Mapping[str, Fact]) -> str:
    low, high = kind["doi_low_nm"], kind["doi_high_nm"]
    return f" ({both(low)} to {both(high)})" if _stated(low) and _stated(high) else ""
