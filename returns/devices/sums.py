"""What a scanner typed, and whether it typed for another keyboard than the computer's. Pure.

A scanner presses keys, not letters: set for one country and plugged into a computer of another, a
"-" arrives as "ß". The keys of each keyboard stand here by their places, written from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from itertools import permutations
from typing import Final

# Common practice, no source: scanners pause 2 to 40 ms from key to key, a fast hand 80 and more.
KEY_MS_MAX: Final = 50


class Keyboard(Enum):
    US = "us"
    UK = "uk"
    GERMAN = "german"
    FRENCH = "french"


# Row by row from the top left, first without and then with the shift key.
_KEYS: Final[Mapping[Keyboard, str]] = {
    Keyboard.US: "`1234567890-=qwertyuiop[]\\asdfghjkl;'zxcvbnm,./"
    '~!@#$%^&*()_+QWERTYUIOP{}|ASDFGHJKL:"ZXCVBNM<>?',
    Keyboard.UK: "`1234567890-=qwertyuiop[]#asdfghjkl;'zxcvbnm,./"
    '¬!"£$%^&*()_+QWERTYUIOP{}~ASDFGHJKL:@ZXCVBNM<>?',
    Keyboard.GERMAN: "^1234567890ß´qwertzuiopü+#asdfghjklöäyxcvbnm,.-"
    "°!\"§$%&/()=?`QWERTZUIOPÜ*'ASDFGHJKLÖÄYXCVBNM;:_",
    Keyboard.FRENCH: "²&é\"'(-è_çà)=azertyuiop^$*qsdfghjklmùwxcvbn,;:!"
    "~1234567890°+AZERTYUIOP¨£µQSDFGHJKLM%WXCVBN?./§",
}


class Slip(Enum):
    """What is wrong with a scan."""

    KEYBOARD = "keyboard"
    CAPITALS = "capitals"
    MISSING = "missing"
    SLOW = "slow"
    NO_ENTER = "no-enter"
    FOREIGN = "foreign"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a scan meant; `scanner` and `computer` where their keyboards differ."""

    meant: str
    slips: tuple[Slip, ...]
    scanner: Keyboard | None = None
    computer: Keyboard | None = None


def arrives(text: str, *, scanner: Keyboard, computer: Keyboard) -> str:
    """Return what a computer takes a text for that the scanner types for its own keyboard."""
    sent, taken = _KEYS[scanner], _KEYS[computer]
    return "".join(taken[sent.index(sign)] if sign in sent else sign for sign in text)


def read(
    arrived: str, *, test: str, is_ours: Callable[[str], bool], key_ms: int | None, end: str
) -> Reading:
    """Judge a scan: `test` is what the test label holds, `is_ours` knows every other code.

    `key_ms` is the mean pause between keys in milliseconds, None if nobody measured; `end` the key
    that came last: "enter", "tab", "none", or "" if nobody looked.
    """
    how = []
    if key_ms is not None and key_ms > KEY_MS_MAX:
        how.append(Slip.SLOW)
    if end in ("tab", "none"):
        how.append(Slip.NO_ENTER)
    return _meant(arrived.strip(), test, is_ours, tuple(how))


def _meant(
    arrived: str, test: str, is_ours: Callable[[str], bool], how: tuple[Slip, ...]
) -> Reading:
    if arrived == test:
        return Reading(test, how)
    if arrived.swapcase() == test:
        return Reading(test, (Slip.CAPITALS, *how))
    if is_ours(arrived):
        return Reading(arrived, how)
    for scanner, computer in permutations(Keyboard, 2):
        # From what the computer took it for, back to the keys, and to what the scanner meant.
        meant = arrives(arrived, scanner=computer, computer=scanner)
        if meant == test or is_ours(meant):
            return Reading(meant, (Slip.KEYBOARD, *how), scanner, computer)
    if _is_cut_short(arrived, test):
        return Reading(test, (Slip.MISSING, *how))
    return Reading(arrived, (Slip.FOREIGN, *how))


def _is_cut_short(arrived: str, test: str) -> bool:
    """Tell whether only some signs of the test label are missing, in their order."""
    signs = iter(test)
    return 2 * len(arrived) >= len(test) and all(sign in signs for sign in arrived)
