"""What a hand scanner types: a code alone, or the whole link that holds one."""

from __future__ import annotations

import re
from typing import Final
from urllib.parse import unquote

from inventory.ledger.sums import codes

TYPED_LENGTH_MAX: Final = 300
SHOWN_LENGTH_MAX: Final = 60
# `.*` is greedy, so that of several "/go/" the last one counts. Case is ignored because a scanner
# types what the keyboard would: in capitals while Caps Lock is on.
_LINK = re.compile(r".*/go/([^/?#]+)", re.IGNORECASE | re.DOTALL)
_GAPS = str.maketrans("", "", "-_ ")


def bare(typed: str) -> str:
    """Return what was typed, or the code within a link that was scanned whole."""
    text = typed.strip()
    link = _LINK.match(text)
    return unquote(link[1]).strip() if link else text


def folded(code: str) -> str:
    """Return a code without what people leave out or write differently: case, dashes, gaps."""
    return code.lower().translate(_GAPS)


def meant(typed: str) -> str:
    """Return the code meant: in its one written form where it has a check, else as it stands."""
    text = bare(typed)
    try:
        return codes.normalise(text)
    # No refusal here: codes of bins and parts are words with no check character.
    except codes.BadCode:
        return text


def lines(typed: str) -> list[str]:
    """Return the codes in a field that takes one scan a line, without empty lines."""
    return [line.strip() for line in typed.splitlines() if line.strip()]
