import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.short_codes import ALPHABET, make_code, verified
from kitting.errors import Refusal

TEXTS = st.text(alphabet=ALPHABET, min_size=1, max_size=30)


def refused(typed: str) -> bool:
    with pytest.raises(Refusal) as refusal:
        verified(typed)
    return refusal.value.code == "wrong-check-characters"


def test_the_number_and_its_check_are_congruent_to_1_modulo_1271() -> None:
    """The definition of a pure system with two check characters (ISO/IEC 7064, from memory)."""
    plain = make_code("J03", "V1", "2").replace("-", "")
    assert sum(ALPHABET.index(one) * 36**place for place, one in enumerate(reversed(plain))) % 1271 == 1


def test_a_number_is_read_back_however_it_is_typed() -> None:
    code = make_code("J03", "V1", "2")
    assert verified(code) == verified(f" {code.lower().replace('-', ' ')} ") == "J03V12"
    assert refused("")
    assert refused("7")


@given(TEXTS, st.data())
def test_one_wrong_character_is_always_refused(text: str, data: st.DataObject) -> None:
    code = make_code(text).replace("-", "")
    place = data.draw(st.integers(0, len(code) - 1))
    other = data.draw(st.sampled_from(ALPHABET.replace(code[place], "")))
    assert refused(code[:place] + other + code[place + 1 :])


@given(TEXTS, st.data())
def test_two_swapped_neighbours_are_always_refused(text: str, data: st.DataObject) -> None:
    code = make_code(text).replace("-", "")
    place = data.draw(st.integers(0, len(code) - 2))
    if code[place] != code[place + 1]:
        assert refused(code[:place] + code[place + 1] + code[place] + code[place + 2 :])


@pytest.mark.parametrize(
    ("one", "other"),
    [("Größe", "Große"), ("日本", "中国"), ("A/1", "A/2"), ("VAULT-NUMBER-NINE", "VAULT-NUMBER-TEN"), ("", "0")],
)
def test_names_outside_the_alphabet_give_different_plain_numbers(one: str, other: str) -> None:
    assert make_code(one) != make_code(other)
    assert set(make_code(one)) <= {*ALPHABET, "-"}
    assert len(make_code(one)) <= 15
