"""One row of the table of checks: what a source has, what we compute, and how we know theirs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

READ, MEMORY, SECOND_HAND = "read", "from memory", "second-hand"
DERIVED, CONSTRUCTED = "derived", "constructed"


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of one source. `tag` says how we know theirs."""

    what: str
    source: str
    theirs: str
    ours: str
    tag: str

    def line(self) -> str:
        return f"| {self.what} | {self.source} | {self.theirs} | {self.ours} | {self.tag} |"


def listed(values: Iterable[object], form: str = "{}") -> str:
    """The values in one form, with commas between."""
    return ", ".join(form.format(value) for value in values)
