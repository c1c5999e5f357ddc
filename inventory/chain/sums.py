"""The canonical content of a link of the chain, and its digest.

A link is a movement with its postings and their readings, or an event. Its digest is the SHA-256,
hex, of one JSON text: `[kind, position, previous digest, content]`, keys sorted, no spaces, UTF-8.
Moments are written in UTC with microseconds. The content is a list in the order given here; a
field more or less would be another digest for every link there is, so a new field needs a new kind
of link.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any, Final
from uuid import UUID

MOVEMENT: Final = "movement"
EVENT: Final = "event"
MOVEMENT_FIELDS: Final = (
    "number", "kind", "subject", "happened_at", "recorded_at", "month", "belongs_to",
    "reverses__number", "reason", "cost_minor", "actor_id", "heat", "key", "fingerprint",
)  # fmt: skip
"""What stands before the postings in the content of a movement."""
POSTING_FIELDS: Final = ("line", "source__code", "target__code", "quantity", "heat")
READING_FIELDS: Final = (
    "scale_id", "typed", "mass_mg", "u_own_ug", "u_shared_ug", "flags", "check_due", "at",
)  # fmt: skip
"""What a posting adds of its reading; null for one that was not weighed."""
EVENT_FIELDS: Final = (
    "name", "subject", "actor_id", "at", "key", "fingerprint", "detail", "witness",
)  # fmt: skip


def digest(kind: str, position: int, previous: str, content: Sequence[Any]) -> str:
    """Return the digest of a link, as 64 hex characters; `previous` is "" for the first."""
    return _sha256([kind, position, previous, plain(list(content))])


def of_row(facts: Sequence[Any]) -> str:
    """Return the digest by which an event bears witness to a row beside the ledger."""
    return _sha256(plain(list(facts)))


def plain(value: Any) -> Any:
    """Return a value in the form that JSON keeps: moments in UTC, ids and days as text."""
    if isinstance(value, datetime):
        # One spelling, whatever zone a driver returns.
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, (date, UUID)):
        return str(value)
    if isinstance(value, dict):
        return {str(name): plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    return value


def _sha256(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
