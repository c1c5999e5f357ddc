"""Recycled content of a period's mouldings, from the origins of the material issued.

Own scrap ground back into the process is left out of the sum on both sides: it keeps the make-up
of what it came from and adds nothing. An origin that nobody can name counts as virgin.
Sources: ISO 14021:2016 clause 7.8 (formula from memory); what counts as pre- and post-consumer read
second-hand; unknown as virgin after EN 45557:2020, read second-hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused


class Origin(StrEnum):
    """Where issued material came from."""

    POST_CONSUMER_RETURN = "post_consumer_return"
    POST_CONSUMER_FEEDSTOCK = "post_consumer_feedstock"
    IN_PROCESS = "in_process"
    VIRGIN = "virgin"


@dataclass(frozen=True, slots=True)
class Issue:
    """Mass of one origin issued to moulding; `origin` is free text so that unknowns can be seen."""

    origin: str
    mass_mg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RecycledContent:
    """Masses in milligrams by kind; `unknown_mg` is the part of `virgin_mg` nobody could name."""

    post_consumer_return_mg: int
    post_consumer_feedstock_mg: int
    in_process_mg: int
    virgin_mg: int
    unknown_mg: int

    @property
    def post_consumer_mg(self) -> int:
        """A: mass that counts as recycled."""
        return self.post_consumer_return_mg + self.post_consumer_feedstock_mg

    @property
    def counted_mg(self) -> int:
        """P: mass that entered the process from outside, the denominator."""
        return self.post_consumer_mg + self.virgin_mg

    @property
    def post_consumer_share(self) -> Fraction | None:
        """A / P exactly, or None when only in-process scrap was issued: nothing can be stated."""
        return Fraction(self.post_consumer_mg, self.counted_mg) if self.counted_mg else None

    @property
    def return_share(self) -> Fraction | None:
        """The part of A / P that came back from our own customers; None as above."""
        if not self.counted_mg:
            return None
        return Fraction(self.post_consumer_return_mg, self.counted_mg)


def recycled_content(issues: Iterable[Issue]) -> RecycledContent:
    """Split a period's issues by origin; raise InputRefused on a mass that is not positive.

    Pre-consumer scrap bought from another firm is not one of this workshop's origins, so it falls
    under unknown and counts as virgin: the share can only be understated by that.
    """
    masses_mg = dict.fromkeys(Origin, 0)
    unknown_mg = 0
    for issue in issues:
        if issue.mass_mg <= 0:
            raise InputRefused(gettext_noop("An issue needs a mass above 0 mg."))
        # Among the members, for Python 3.11 raises TypeError when an Enum class is asked for a
        # plain string.
        if issue.origin in Origin.__members__.values():
            masses_mg[Origin(issue.origin)] += issue.mass_mg
        else:
            unknown_mg += issue.mass_mg
    return RecycledContent(
        post_consumer_return_mg=masses_mg[Origin.POST_CONSUMER_RETURN],
        post_consumer_feedstock_mg=masses_mg[Origin.POST_CONSUMER_FEEDSTOCK],
        in_process_mg=masses_mg[Origin.IN_PROCESS],
        virgin_mg=masses_mg[Origin.VIRGIN] + unknown_mg,
        unknown_mg=unknown_mg,
    )
