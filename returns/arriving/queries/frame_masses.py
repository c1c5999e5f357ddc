"""What of a frame lies on the bench, and when a scale's figure is too far from it to be taken."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Final

from django.utils.translation import gettext as _

from inventory.errors import BadInput
from inventory.furniture import numbers
from inventory.ledger.queries import balances
from inventory.models import PlaceKind, Reading, Scale
from inventory.weighing.queries import readings
from inventory.weighing.sums.weighing import combine, expanded, measure
from returns.models import ReturnedFrame

# Our own choice: room for dirt, glue and nominal masses that are not quite true.
GAP_MG: Final = 200
GAP_UNCERTAINTIES: Final = 5


def on_bench_mg(frame: ReturnedFrame) -> int:
    """Return the milligrams that, by the ledger, lie on the bench for this frame's tag."""
    return balances.held_mg(subject=frame.tag, kind=PlaceKind.BENCH)


def limit_mg(before: Reading, after: Sequence[Reading]) -> int:
    """Return how far two sides of a frame may lie apart: 200 mg or five expanded uncertainties.

    The error that both sides share on one scale cancels.
    """
    # The signs say before minus after, so that `combine` lets the common part of the error cancel.
    sides = [(1, readings.measured(before)), *((-1, readings.measured(part)) for part in after)]
    return _limit_mg(combine(sides).u_mg)


def reading_limit_mg(scale: Scale, mass_mg: int) -> int:
    """Return by the same rule how far one reading may lie from what is expected, in mg."""
    return _limit_mg(measure(readings.sums_scale(scale), mass_mg).u_mg)


def _limit_mg(u_mg: float) -> int:
    return max(GAP_MG, ceil(GAP_UNCERTAINTIES * expanded(u_mg)))


def refuse_gap(*, gap_mg: int, limit_mg: int, reason: str) -> None:
    """Refuse an implausible difference that nobody has explained.

    `gap_mg` is missing mass, below zero when there is too much. A reason lifts any limit, for the
    books must be able to follow the scale. Raises BadInput on `reason`.
    """
    if len(reason.strip()) > 200:
        raise BadInput(_("Keep the reason to 200 characters."), field="reason")
    if abs(gap_mg) <= limit_mg or reason.strip():
        return
    template = (
        _("%(gap)s are missing. Weigh again, or say why: over %(limit)s needs a reason.")
        if gap_mg > 0
        else _("%(gap)s are too much. Weigh again, or say why: over %(limit)s needs a reason.")
    )
    figures = {
        "gap": numbers.mass_words(abs(gap_mg)),
        "limit": numbers.mass_words(limit_mg),
    }
    raise BadInput(template % figures, field="reason", gap_mg=gap_mg, limit_mg=limit_mg)
