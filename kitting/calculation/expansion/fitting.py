"""Templates meet the items: the choice of stock codes, one-piece housings, complete sets, free ways of a junction."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from kitting.calculation.answers import CANT_TELL, SHORT
from kitting.calculation.expansion.slots import Template
from kitting.calculation.fit_matching import Matcher
from kitting.calculation.kinds import KINDS
from kitting.calculation.needs import CANT_TELL as MATCH_CANT_TELL
from kitting.calculation.needs import CHOSEN, Need
from kitting.calculation.quantities import PER_UNIT
from kitting.calculation.questions import Missing

Item = Mapping[str, Any]


class Fitter:
    """Fits the templates of one slot (an end, a position, a joint) together."""

    def __init__(self, matcher: Matcher, items: Mapping[str, Item]) -> None:
        self.matcher = matcher
        self.items = items

    def fit(self, templates: Sequence[Template]) -> list[Template]:
        """Templates with their stock codes, less those that a one-piece housing or a complete set makes needless."""
        fitted = [self.choose(template) for template in templates]
        fitted = self._one_piece(fitted)
        fitted = self._makers_told(self._free_ways(fitted))
        for chosen in list(fitted):
            if chosen.codes and self.items[chosen.codes[0]]["contains"]:
                fitted = self.without_contents(fitted, chosen, chosen.codes[0])
        return fitted

    def choose(self, template: Template) -> Template:
        """The template with its match: chosen codes, can't tell, or short because no stock code serves."""
        if template.answer or template.need is None or template.match is not None:
            return template
        match = self.matcher.match(template.need)
        if match.status == CHOSEN:
            return replace(template, match=match, codes=match.codes, rule=match.rules[0], sentence=match.sentence)
        if match.status == MATCH_CANT_TELL:
            return replace(template, match=match, answer=CANT_TELL, sentence=match.sentence, missing=match.missing)
        unsettled = _unsettled(template.need)
        if unsettled:
            sentence = f"can't tell: {'; '.join(missing.why for missing in unsettled)}"
            return replace(template, match=match, answer=CANT_TELL, sentence=sentence, missing=unsettled)
        return replace(template, match=match, answer=SHORT, sentence=match.sentence)

    def pinned(self, template: Template, stock_code: str) -> Template:
        """The template with the one stock code that a pin names, if it serves."""
        need: Need | None = template.need
        if need is None:
            return template
        need = replace(need, fixed_code=stock_code)
        return self.choose(replace(template, need=need, answer="", missing=(), match=None, codes=()))

    def without_contents(self, templates: list[Template], chosen: Template, code: str) -> list[Template]:
        """Take off what a complete set holds; a set whose content does not serve here can't be used."""
        kept = list(templates)
        here = kept.index(chosen)
        sets = chosen.quantity or 0
        for contained, count in self.items[code]["contains"]:
            place = self._serving(kept, contained)
            if place is None:
                sentence = f"{code} holds {contained}, which does not serve at this end"
                kept[here] = replace(chosen, answer=SHORT, codes=(), sentence=sentence)
                return kept
            quantity = (kept[place].quantity or 0) - count * sets
            kept[place] = replace(kept[place], quantity=max(quantity, 0))
        return [template for template in kept if template.quantity != 0]

    def _serving(self, templates: Sequence[Template], code: str) -> int | None:
        for index, template in enumerate(templates):
            if template.need is not None and code in template.codes:
                return index
        return None

    def _one_piece(self, templates: list[Template]) -> list[Template]:
        """A housing with its own insulation range needs no cable adapter; it may not be swapped for one that does."""
        housing = next((t for t in templates if t.codes and KINDS[t.kind].housing), None)
        if housing is None or not any(t.kind == "cable adapter" for t in templates):
            return templates
        one_piece = self._has_range(housing.codes[0])
        alike = tuple(code for code in housing.codes if self._has_range(code) == one_piece)
        kept = [replace(t, codes=alike) if t is housing else t for t in templates]
        return [t for t in kept if t.kind != "cable adapter"] if one_piece else kept

    def _makers_told(self, templates: list[Template]) -> list[Template]:
        """A splice whose connector or sleeve is of another maker says so: some owners want a joint of one maker.

        Common practice (UFGS 16302N asks for a kit of one manufacturer); the line is told, not refused.
        """
        splice = next((t for t in templates if t.kind == "splice" and t.codes), None)
        if splice is None:
            return templates
        makers = {t.codes[0]: self.items[t.codes[0]]["maker"] for t in templates if t.codes}
        told = {code: maker for code, maker in makers.items() if isinstance(maker, str)}
        if len(set(told.values())) < 2:
            return templates
        words = ", ".join(f"{code} by {maker}" for code, maker in sorted(told.items()))
        sentence = f"{splice.sentence}; makers differ in this joint: {words}"
        return [replace(t, sentence=sentence) if t is splice else t for t in templates]

    def _has_range(self, code: str) -> bool:
        return self.items[code]["doi_low_nm"] is not None

    def _free_ways(self, templates: list[Template]) -> list[Template]:
        """Caps on the ways of a junction that no cable takes."""
        junction = next((t for t in templates if t.kind == "junction" and t.codes), None)
        settled = []
        for template in templates:
            if not template.free_ways:
                settled.append(template)
                continue
            ways = self.items[junction.codes[0]]["ways"] if junction else None
            if isinstance(ways, int):
                free = max(ways - template.cables, 0) * template.times * PER_UNIT
                if free:
                    settled.append(replace(template, quantity=free))
                continue
            missing = Missing("ways", "the junction's ways are not given", "items", "ways")
            settled.append(
                replace(template, answer=CANT_TELL, codes=(), missing=(missing,), sentence=f"can't tell: {missing.why}")
            )
        return settled


def _unsettled(need: Need) -> tuple[Missing, ...]:
    """Facts of the place that must be settled before it can be said that no stock code serves."""
    facts = (need.class_kv, need.interface, need.gives_interface, need.mcov_kv)
    return tuple(dict.fromkeys(fact for fact in facts if isinstance(fact, Missing)))
