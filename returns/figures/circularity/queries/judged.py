"""A share as it is shown: with its interval, or with the count that is missing for one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Self

from django.utils.translation import gettext

from returns.figures.circularity.sums.circularity import ShareInterval
from returns.figures.claims.sums.claims import EvidenceError, NotEnoughEvidence
from returns.refusals import Refused

BOOKED: Final = "booked masses"
"""The method of a share that rests on mass which nobody weighed: it has no range."""


def refusal_in_words(error: Refused) -> str:
    """Return what a sum refused, in the reader's language. Sums give keys and figures only."""
    words = gettext(error.template)
    # Without figures a per cent sign in the text is plain text and must not be read as a
    # placeholder.
    return words % error.figures if error.figures else words


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Why there is no figure: `have` of `need` things of the kind `of`, and a reason if known."""

    of: str
    have: int
    need: int
    reason: str = ""

    @classmethod
    def because(cls, error: EvidenceError) -> Self:
        """Return what a sum says is missing: a count of what it needs, or a reason."""
        if isinstance(error, NotEnoughEvidence):
            return cls(of=error.of, have=error.have, need=error.need)
        return cls(of="", have=0, need=1, reason=refusal_in_words(error))


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Exactly one of the two is there. Shares are 0..1; counts are of `ShareInterval.evidence`."""

    share: ShareInterval | None = None
    missing: Missing | None = None

    @property
    def is_booked(self) -> bool:
        return self.share is not None and self.share.method == BOOKED

    @classmethod
    def of(cls, make: Callable[[], ShareInterval], *, reason: str = "") -> Self:
        """Make the share; what the sums refuse becomes a missing one, never an error."""
        try:
            return cls(share=make())
        except EvidenceError as error:
            missing = Missing.because(error)
            return cls(missing=replace(missing, reason=reason or missing.reason))

    @classmethod
    def without(cls, *, of: str, have: int, need: int, reason: str = "") -> Self:
        return cls(missing=Missing(of=of, have=have, need=need, reason=reason))
