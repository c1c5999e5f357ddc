"""Codes and link secrets, under the name that this room uses. They live with the sums of the
ledger room, because grind runs and lots have codes too."""

from __future__ import annotations

from inventory.ledger.sums.codes import (
    ALPHABET,
    CHECKED_LENGTH,
    KIND_BY_PREFIX,
    BadCode,
    hash_secret,
    kind_of,
    new_code,
    normalise,
)

__all__ = [
    "ALPHABET",
    "CHECKED_LENGTH",
    "KIND_BY_PREFIX",
    "BadCode",
    "hash_secret",
    "kind_of",
    "new_code",
    "normalise",
]
