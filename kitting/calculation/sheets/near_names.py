"""Names that look like another name: offered as a question, never taken silently."""

import re
from collections.abc import Iterable
from difflib import get_close_matches
from functools import cached_property

_MOST_COMPARED = 3_000  # above this, only spellings are compared: letter-by-letter comparison would take minutes
_MOST_OFFERED = 3
_DIGITS_OR_LETTERS = re.compile(r"[0-9]+|[^\W\d_]+")


def spelling(name: str) -> str:
    """A name without case, blanks, marks and leading zeros: ``V-9``, ``v 09`` and ``V9`` are spelled alike."""
    return "".join(part.lstrip("0") or "0" if part[0].isdigit() else part for part in _parts(name))


def _initials(name: str) -> str:
    """Digits and the first letter of each word: ``Vault 9`` and ``V9`` have the same."""
    return "".join(part.lstrip("0") or "0" if part[0].isdigit() else part[0] for part in _parts(name))


def _parts(name: str) -> list[str]:
    return _DIGITS_OR_LETTERS.findall(name.casefold())


class NearNames:
    """Declared names, to be searched for names near one that is not declared."""

    def __init__(self, names: Iterable[str]) -> None:
        self._names = sorted(set(names))
        self._asked: dict[str, tuple[str, ...]] = {}

    @cached_property
    def _alike(self) -> dict[str, list[str]]:
        """Names by spelling and by initials; built only when something is not declared."""
        alike: dict[str, list[str]] = {}
        for name in self._names:
            for key in {spelling(name), _initials(name)}:
                alike.setdefault(key, []).append(name)
        return alike

    def near(self, name: str) -> tuple[str, ...]:
        """Up to three declared names near this one, the likeliest first."""
        if name not in self._asked:
            found = self._alike.get(spelling(name)) or self._alike.get(_initials(name)) or []
            if not found and len(self._names) <= _MOST_COMPARED:
                found = get_close_matches(name, self._names, n=_MOST_OFFERED, cutoff=0.75)
            self._asked[name] = tuple(found[:_MOST_OFFERED])
        return self._asked[name]

    def alike(self, name: str) -> tuple[str, ...]:
        """Declared names that differ from this one in spelling only, or of which one is the other's short form."""
        short = _initials(name)
        found = [
            *self._alike.get(spelling(name), ()),
            *(one for one in self._alike.get(short, ()) if spelling(one) == short),
        ]
        return tuple(dict.fromkeys(one for one in found if one != name))

    def spelled_alike(self) -> Iterable[tuple[str, ...]]:
        """Groups of declared names that differ in spelling only."""
        groups: dict[str, list[str]] = {}
        for name in self._names:
            groups.setdefault(spelling(name), []).append(name)
        return (tuple(group) for key, group in groups.items() if key and len(group) > 1)
