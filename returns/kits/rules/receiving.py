"""Parts come in from a supplier; whoever waits for a kit gets one set aside at once."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadInput
from inventory.models import Movement, Part
from inventory.parts import rules as stock
from returns.kits.rules import kits

if TYPE_CHECKING:
    from django.contrib.auth.models import User

PIECES_MAX = 100_000
COST_MINOR_MAX = 100_000_000


@transaction.atomic
def receive_parts(
    *, key: UUID, part: Part, pieces: int, cost_minor: int, at: datetime, by: User
) -> Movement:
    """Pieces go into their bin; `cost_minor` is what they cost together."""
    if not 1 <= pieces <= PIECES_MAX:
        raise BadInput(_("Write how many pieces came, from 1 to 100 000."), field="pieces")
    if not 0 <= cost_minor <= COST_MINOR_MAX:
        raise BadInput(_("Write what they cost together."), field="cost")
    movement = stock.receive(
        key=key, part=part, pieces=pieces, cost_minor=cost_minor, at=at, actor=by
    )
    # In the same transaction, and harmless on a repeat: whoever could be served has been.
    kits.reserve_waiting(at)
    return movement
