"""Codes read aloud: what is forgiven, what is refused, what the check character catches.

The check system is ISO/IEC 7064 hybrid MOD N+1,N as python-stdnum computes it; its MOD 11,10
example (00200667308 gives 5) is read in that library's documentation. Detection rates are
derived: counted here over every case.
"""

from __future__ import annotations

import hashlib
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from inventory.ledger.sums import codes
from inventory.ledger.sums.codes import (
    ALPHABET,
    KIND_BY_PREFIX,
    BadCode,
    kind_of,
    new_code,
    normalise,
)

bodies = st.text(alphabet=ALPHABET, min_size=7, max_size=7)
prefixes = st.sampled_from(sorted(KIND_BY_PREFIX))


def written(letter: str, body: str) -> str:
    return codes._written(letter, body + codes._check_character(letter, body))


def test_check_system_reproduces_the_documented_mod_11_10_example() -> None:
    assert mod_37_36.calc_check_digit("00200667308", alphabet="0123456789") == "5"


def test_alphabet_is_even_distinct_and_free_of_lookalikes_and_vowels() -> None:
    assert len(ALPHABET) % 2 == 0
    assert len(set(ALPHABET)) == len(ALPHABET)
    assert not set(ALPHABET) & set("0O1ILUVBSZAE")


@pytest.mark.parametrize("prefix", sorted(KIND_BY_PREFIX))
def test_new_code_is_grouped_and_normalises_to_itself(prefix: str) -> None:
    code = new_code(prefix)
    assert [len(part) for part in code.split("-")] == [1, 4, 4]
    assert normalise(code) == code
    assert kind_of(code) == KIND_BY_PREFIX[prefix]


def test_new_code_takes_prefix_with_its_hyphen() -> None:
    assert new_code("F-").startswith("F-")


def test_new_code_refuses_unknown_prefix() -> None:
    with pytest.raises(BadCode) as refused:
        new_code("X")
    assert refused.value.code == "code-prefix"


def test_two_hundred_new_codes_differ() -> None:
    assert len({new_code("Q") for _ in range(200)}) == 200


@given(prefixes, bodies, st.integers(0, 7))
def test_every_single_substitution_is_caught(letter: str, body: str, place: int) -> None:
    code = written(letter, body)
    flat = code.replace("-", "")[1:]
    for other in ALPHABET:
        if other == flat[place]:
            continue
        wrong = letter + flat[:place] + other + flat[place + 1 :]
        with pytest.raises(BadCode, match="wrong or two are swapped"):
            normalise(wrong)


def step(state: int, value: int) -> int:
    """One step of the check, written apart from the library, on positions in the alphabet."""
    n = len(ALPHABET)
    return (((state or n) * 2) % (n + 1) + value) % n


def test_check_step_never_merges_two_states_or_two_characters() -> None:
    """Exhaustive over all states: this is why no single substitution gets through, anywhere."""
    n = len(ALPHABET)
    for value in range(n):
        assert len({step(state, value) for state in range(n)}) == n
    for state in range(n):
        assert len({step(state, value) for value in range(n)}) == n


@given(bodies)
def test_written_apart_step_agrees_with_the_library(body: str) -> None:
    state = len(ALPHABET) // 2
    for character in body:
        state = step(state, ALPHABET.index(character))
    assert state == mod_37_36.checksum(body, alphabet=ALPHABET)


def test_adjacent_transpositions_missed_are_two_in_n_times_n_minus_one() -> None:
    n = len(ALPHABET)
    cases = [(s, a, b) for s, a, b in product(range(n), repeat=3) if a != b]
    missed = sum(step(step(s, a), b) == step(step(s, b), a) for s, a, b in cases)
    assert (missed, len(cases)) == (2 * n, n * n * (n - 1))
    assert missed / len(cases) == pytest.approx(0.0036, abs=5e-5)


@given(bodies, prefixes, prefixes)
def test_wrong_kind_letter_is_caught(body: str, letter: str, other: str) -> None:
    if letter == other:
        return
    with pytest.raises(BadCode):
        normalise(other + written(letter, body)[1:])


@given(prefixes, bodies)
def test_case_spaces_dashes_and_twins_are_forgiven(letter: str, body: str) -> None:
    code = written(letter, body)
    loose = code[0] + code[1:].replace("8", "b").replace("5", "s").replace("2", "z")
    loose = "  " + loose.lower().replace("-", " \u2013 ") + "\u200b\n"
    assert normalise(loose) == code


def test_minus_sign_dots_and_fullwidth_letters_are_forgiven() -> None:
    code = written("F", "7KDM3XQ")
    assert normalise(code.replace("-", "\u2212")) == code
    assert normalise(code.replace("-", "._")) == code
    assert normalise("\uff26" + code[1:]) == code


def test_prefix_may_be_left_out_where_the_field_knows_the_kind() -> None:
    code = written("F", "7KDM3XQ")
    assert normalise(code[2:], prefix="F") == code
    assert normalise(code, prefix="F-") == code
    with pytest.raises(BadCode) as refused:
        normalise(code[2:])
    assert refused.value.code == "code-length"


def test_code_of_another_kind_is_refused_where_the_field_knows_the_kind() -> None:
    with pytest.raises(BadCode) as refused:
        normalise(written("P", "7KDM3XQ"), prefix="F")
    assert refused.value.code == "code-prefix"
    assert "parcel" in refused.value.message


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "code-empty"),
        (" - ", "code-empty"),
        ("F7KDM3X", "code-length"),
        ("F7KDM3XQ99", "code-length"),
        ("F" * 65, "code-length"),
        ("X-7KDM-3XQ9", "code-prefix"),
        ("F-7KDM-3XO9", "code-character"),
        ("F-7KDM-3X19", "code-character"),
        ("F-7KDM-3X\u00e99", "code-character"),
    ],
)
def test_bad_text_is_refused_with_a_stable_code(text: str, code: str) -> None:
    with pytest.raises(BadCode) as refused:
        normalise(text)
    assert refused.value.code == code
    assert refused.value.message


@given(st.text(max_size=80))
def test_any_text_is_either_a_code_or_bad_code(text: str) -> None:
    try:
        code = normalise(text)
    except BadCode:
        return
    assert normalise(code) == code


def test_secret_hash_is_the_published_sha256_of_abc() -> None:
    """FIPS 180-4 sample message "abc" (from memory)."""
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert codes.hash_secret("abc") == digest == hashlib.sha256(b"abc").hexdigest()
