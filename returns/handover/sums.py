"""The code of a shelf place: short, free, written in one way only. Pure."""

from __future__ import annotations

import re
from typing import Final

SHELF_LENGTH_MAX: Final = 12
PREFIX: Final = "SHELF-"
# Letters of any script and digits; in between, what people write between row and board.
_SHAPE: Final = re.compile(r"[^\W_](?:[^\W_]|[ ./-](?=[^\W_]))*")


def shelf(typed: str) -> str:
    """Return a shelf's code as it is kept: capitals, single blanks, without a label's prefix.

    Raises ValueError for what is no such code: empty, too long, other signs.
    """
    text = " ".join(typed.replace("_", " ").upper().split()).removeprefix(PREFIX)
    if len(text) > SHELF_LENGTH_MAX or not _SHAPE.fullmatch(text):
        raise ValueError("no code of a shelf")
    return text


def label(code: str) -> str:
    """Return what a shelf's printed label holds, so that a scan of it is known as a shelf."""
    return f"{PREFIX.lower()}{code.lower().replace(' ', '_')}"


def code_on_label(typed: str) -> str:
    """Return the shelf that a printed label names, "" for what is no such label.

    Raises ValueError for a label with a code that is none.
    """
    return shelf(typed) if typed.upper().startswith(PREFIX) else ""
