"""Short numbers for bags and papers that can be scanned or typed, with check characters.

The check is ISO/IEC 7064 MOD 1271-36: two characters out of 0-9 A-Z, the whole congruent to 1 modulo 1271 with radix
36. Because 1271 = 31 x 41 is prime to 35 and to 36, it catches every single wrong character and every swap of two
neighbours. The standard's scheme is from memory; the test proves the two properties themselves.
"""

import hashlib
import re
import unicodedata

from kitting.errors import Refusal

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MODULUS, RADIX = 1271, 36
LONGEST_PART = 12


def check_characters(text: str) -> str:
    """The two check characters of ``text``; only its letters and digits count, in any case."""
    remainder = 0
    for character in _plain(text):
        remainder = (remainder + ALPHABET.index(character)) * RADIX % MODULUS
    value = (MODULUS + 1 - remainder * RADIX % MODULUS) % MODULUS
    return ALPHABET[value // RADIX] + ALPHABET[value % RADIX]


def make_code(*parts: str) -> str:
    """The number made of ``parts``, upper case, joined by hyphens, with its check characters at the end.

    A part that holds other than letters and digits, or is longer than 12 characters, is folded; where folding loses
    something that tells two parts apart, four characters of a digest stand in for it.
    """
    number = "-".join(_folded(part) for part in parts)
    return f"{number}-{check_characters(number)}"


def bag_code(job: str, structure: str, *numbers: int) -> str:
    """The number on a bag's label: its job, its structure ('' for a bag of the whole job) and its number.

    On an inner bag's label the number in the bag comes last.
    """
    return make_code(job, structure or "JOB", *map(str, numbers))


def verified(typed: str) -> str:
    """The letters and digits of ``typed`` without its check characters; spaces, hyphens and case do not matter.

    Raises:
        Refusal: ``wrong-check-characters`` when a character is wrong, missing or swapped.
    """
    plain = _plain(typed)
    if len(plain) < 3 or check_characters(plain[:-2]) != plain[-2:]:
        raise Refusal(
            "wrong-check-characters",
            f"The number {typed!r} is not one of ours, or one character is wrong: read it again.",
            {"typed": typed},
        )
    return plain[:-2]


def _plain(text: str) -> str:
    return "".join(character for character in text.upper() if character in ALPHABET)


def _folded(part: str) -> str:
    latin = unicodedata.normalize("NFKD", part).encode("ascii", "ignore").decode()
    folded = re.sub(r"[^A-Z0-9]+", "-", latin.upper()).strip("-")
    if len(folded) <= LONGEST_PART and part.isascii() and folded:
        return folded
    digest = hashlib.sha256(part.encode()).hexdigest()[:4].upper()
    return f"{folded[: LONGEST_PART - 5].strip('-')}-{digest}".strip("-")
