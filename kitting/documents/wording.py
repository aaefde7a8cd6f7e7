"""The crew's own words: splice or joint, ground or earth, lot or batch, elbow or separable elbow connector."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

# Longer terms first: an elbow connector is the conductor's connector inside an elbow, not the elbow.
_JOINT_WORDS: Mapping[str, str] = {
    "splice connectors": "joint connectors",
    "splice connector": "joint connector",
    "splices": "joints",
    "splice": "joint",
    "elbow connectors": "conductor connectors",
    "elbow connector": "conductor connector",
    "separable elbow connectors": "separable elbow connectors",
    "separable elbow connector": "separable elbow connector",
    "elbows": "separable elbow connectors",
    "elbow": "separable elbow connector",
    "multigrounded": "multi-earthed",
    "ungrounded": "unearthed",
    "grounded": "earthed",
    "grounding": "earthing",
    "grounds": "earths",
    "ground": "earth",
    "lots": "batches",
    "lot": "batch",
}
_WORD = re.compile(rf"\b({'|'.join(sorted(_JOINT_WORDS, key=len, reverse=True))})\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Words:
    """Turns our own printed words into the wording the owner chose; names, codes and titles are never passed in."""

    wording: str = "splice"

    def __call__(self, text: str) -> str:
        """``text`` in the chosen wording, capitals kept."""
        return _WORD.sub(_in_joint_words, text) if self.wording == "joint" else text


def _in_joint_words(match: re.Match[str]) -> str:
    found = match[0]
    other = _JOINT_WORDS[found.lower()]
    if found.isupper():
        return other.upper()
    return other.capitalize() if found[0].isupper() else other
