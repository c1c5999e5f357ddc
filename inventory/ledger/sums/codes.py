"""Short codes that people read aloud, and the secrets in links that nobody reads.

A code names a thing and is no secret: `F-7KDM-3XQ9` is a letter for the kind, seven random
characters, and one check character by the hybrid system MOD N+1,N of ISO/IEC 7064. The check
covers the letter for the kind too. What it catches, counted by the tests: every single wrong
character, and all but 2 in N*(N-1) (0.36 %) of swaps of two different neighbours.
"""

from __future__ import annotations

import hashlib
import secrets
import unicodedata
from typing import Final

# No vowels (so no words), and none of 0 O 1 I L U V B S Z, which pass for one another on paper
# or down a line. The count must stay even: with an odd N the check would miss single slips.
ALPHABET: Final = "23456789CDFGHJKMNPQRTWXY"

# The place of a letter in this string enters the check. Only ever append.
KIND_BY_PREFIX: Final = {
    "Q": "request",
    "F": "frame",
    "P": "parcel",
    "B": "box",
    "L": "lot",
    "D": "dispatch",
    "G": "grind run",
    "W": "load of goods",
    "K": "recipe card",
}

CHECKED_LENGTH: Final = 8
_RANDOM_LENGTH: Final = CHECKED_LENGTH - 1
_GROUP_LENGTH: Final = 4
_TEXT_LENGTH_MAX: Final = 64

# A letter left out of the alphabet that has exactly one twin in it is read as that twin. O, 0, I,
# 1, L, U and V have no single twin, so guessing is refused and the reader is asked to look again.
_TWINS: Final = str.maketrans({"B": "8", "S": "5", "Z": "2"})


class BadCode(ValueError):
    """A text that is no code. `code` is stable for pages and logs; `message` says what to do."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


def new_code(prefix: str) -> str:
    """Draw a fresh code such as `Q-7KDM-3XQ9` for a prefix `Q`, `F`, `P`, `B` or `L`.

    24**7 = 4.6e9 bodies: enough that clashes are rare, too few to be unguessable or unique by
    themselves. The caller keeps codes unique and draws again on a clash.
    """
    letter = _known_prefix(prefix.rstrip("-"))
    body = "".join(secrets.choice(ALPHABET) for _ in range(_RANDOM_LENGTH))
    return _written(letter, body + _check_character(letter, body))


def normalise(text: str, *, prefix: str | None = None) -> str:
    """Return the code meant by `text` in its one written form.

    Forgives case, spaces, any dash, dots and underscores, and the twins B/8, S/5, Z/2. With
    `prefix` given (a field that takes one kind only) the letter may be left out, and a code of
    another kind is refused. Raises `BadCode`: code-empty, code-length, code-prefix,
    code-character or code-check.
    """
    letter, body = _split(_bare(text), prefix)
    if prefix is not None and letter != _known_prefix(prefix.rstrip("-")):
        kind = KIND_BY_PREFIX[letter]
        raise BadCode("code-prefix", f"That is the code of a {kind}. Enter the other code.")
    # Before the check is worked out: the check character itself may have been read as its twin.
    body = body.translate(_TWINS)
    _require_alphabet(body)
    if _check_character(letter, body[:-1]) != body[-1]:
        raise BadCode("code-check", "One character is wrong or two are swapped. Read it again.")
    return _written(letter, body)


def kind_of(code: str) -> str:
    """Return what a code names: request, frame, parcel, box or lot. Raises `BadCode`."""
    return KIND_BY_PREFIX[normalise(code)[0]]


def hash_secret(secret: str) -> str:
    """Return the SHA-256 of a link secret in hex, the only form that is stored.

    A slow salted hash protects guessable passwords. These secrets carry 192 random bits, so
    trying them out is hopeless however fast the hash is, and a plain one can be looked up by.
    """
    return hashlib.sha256(secret.encode("utf-8")).hexdigest()


def _bare(text: str) -> str:
    if len(text) > _TEXT_LENGTH_MAX:
        raise BadCode("code-length", "That is too long for a code. Enter the code alone.")
    # NFKC turns full-width letters, as a phone's keyboard may type them, into plain ones.
    plain = unicodedata.normalize("NFKC", text).upper()
    bare = "".join(character for character in plain if not _is_gap(character))
    if not bare:
        raise BadCode("code-empty", "Enter the code printed on the label.")
    return bare


def _is_gap(character: str) -> bool:
    if character in "._\u2212":  # U+2212, the minus sign, is no dash by its category
        return True
    # Pd is every dash; Cf are characters without a shape, such as the zero-width space or soft
    # hyphen that comes along when a code is copied from a page.
    return character.isspace() or unicodedata.category(character) in {"Pd", "Cf"}


def _split(bare: str, prefix: str | None) -> tuple[str, str]:
    # Where only one kind is asked for, people leave the letter out.
    if prefix is not None and len(bare) == CHECKED_LENGTH:
        return _known_prefix(prefix.rstrip("-")), bare
    if len(bare) != CHECKED_LENGTH + 1:
        raise BadCode(
            "code-length",
            f"A code has a letter and then {CHECKED_LENGTH} characters. Check for one missed.",
        )
    return _known_prefix(bare[0]), bare[1:]


def _known_prefix(letter: str) -> str:
    if letter not in KIND_BY_PREFIX:
        known = ", ".join(KIND_BY_PREFIX)
        raise BadCode("code-prefix", f"A code starts with one of {known}. Check the first letter.")
    return letter


def _require_alphabet(body: str) -> None:
    for character in body:
        if character not in ALPHABET:
            raise BadCode(
                "code-character",
                f"The character {character!r} is never used in a code. Look at it again.",
            )


def _check_character(letter: str, body: str) -> str:
    from stdnum.iso7064 import mod_37_36

    # The prefixes themselves are not all in the alphabet, so each stands in by its place.
    kind_character = ALPHABET[list(KIND_BY_PREFIX).index(letter)]
    # The module is named for an alphabet of 36; it takes N from the one given, so this is MOD
    # 25,24.
    return str(mod_37_36.calc_check_digit(kind_character + body, alphabet=ALPHABET))


def _written(letter: str, body: str) -> str:
    return f"{letter}-{body[:_GROUP_LENGTH]}-{body[_GROUP_LENGTH:]}"
