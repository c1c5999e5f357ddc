"""A share as it is shown: with its interval, or with the count that is missing for one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from returns.sums.circularity import ShareInterval
from returns.sums.claims import EvidenceError, NotEnoughEvidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Why there is no figure: `have` of `need` things of the kind `of`, and a reason if known."""

    of: str
    have: int
    need: int
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Exactly one of the two is there. Shares are 0..1; counts are of `ShareInterval.evidence`."""

    share: ShareInterval | None = None
    missing: Missing | None = None

    @classmethod
    def of(cls, make: Callable[[], ShareInterval], *, reason: str = "") -> Self:
        """Make the share; what the sums refuse becomes a missing one, never an error."""
        try:
            return cls(share=make())
        except NotEnoughEvidence as error:
            return cls(
                missing=Missing(of=error.of, have=error.have, need=error.need, reason=reason)
            )
        except EvidenceError as error:
            return cls(missing=Missing(of="", have=0, need=1, reason=reason or str(error)))

    @classmethod
    def without(cls, *, of: str, have: int, need: int, reason: str = "") -> Self:
        return cls(missing=Missing(of=of, have=have, need=need, reason=reason))
