"""A production batch is moulded from the lots that were issued for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from inventory import clock, deeds
from inventory.errors import BadInput, Conflict
from inventory.material.sums.heat import HeatSpread, after_melt, blend
from inventory.models import Movement, Posting
from returns.models import Colourway, ProductionBatch

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def mould(
    *,
    key: UUID,
    colourway: Colourway,
    code: str,
    made_on: date,
    pieces: int,
    at: datetime,
    by: User,
    issues: Sequence[Movement] = (),
) -> ProductionBatch:
    """Note a moulded batch. Its material is what was issued under its code (`issues` names the
    movements, when not all of them are meant); moulding is one more heat pass for all of it.

    Raises BadInput when nothing was issued for it, a lot is of another polymer or its day is still
    to come, Conflict when the batch exists.
    """
    numbers = sorted(movement.number for movement in issues)
    facts = [colourway.pk, code.strip(), made_on.isoformat(), pieces, numbers]
    done = deeds.repeated(key=key, name="batches.mould", facts=facts)
    if done:
        return ProductionBatch.objects.get(code=done.subject)
    if pieces < 1:
        raise BadInput(_("Write how many good pieces came out."), field="pieces")
    if made_on > clock.day_of(at):
        raise BadInput(_("This day is still to come."), field="made_on")
    if ProductionBatch.objects.filter(code=code.strip()).exists():
        raise Conflict(_("Batch %(code)s exists already.") % {"code": code.strip()}, field="code")
    rows = issued([code.strip()])
    postings = list(rows.filter(movement__number__in=numbers) if numbers else rows)
    if not postings:
        raise BadInput(_("Nothing was issued for this batch. Issue its flake first."), field="code")
    _refuse_other_polymer(postings, colourway)
    batch = ProductionBatch.objects.create(
        code=code.strip(),
        colourway=colourway,
        made_on=made_on,
        pieces=pieces,
        heat=heat_of(postings).to_list(),
        issued_mg=sum(posting.quantity for posting in postings),
    )
    deeds.record(
        key=key,
        name="batches.mould",
        subject=batch.code,
        facts=facts,
        at=at,
        actor=by,
        detail={"lots": sorted({lot_code(posting) for posting in postings})},
    )
    return batch


def issued(codes: Iterable[str]) -> QuerySet[Posting]:
    """What was issued for some batches and not taken back."""
    rows = Posting.objects.filter(
        movement__kind="issue",
        movement__subject__in=codes,
        movement__reverses=None,
        movement__reversed_by=None,
    )
    return rows.select_related("source__lot", "source__polymer")


def heat_of(postings: list[Posting]) -> HeatSpread:
    """The spread after moulding what the postings took from their lots."""
    spreads = [
        (HeatSpread.from_list(posting.source.lot.heat), posting.quantity)
        for posting in postings
        if posting.source.lot is not None
    ]
    return after_melt(blend(spreads))


def lot_code(posting: Posting) -> str:
    """The code of the lot that an issue took from."""
    return posting.source.lot.code if posting.source.lot else ""


def _refuse_other_polymer(postings: list[Posting], colourway: Colourway) -> None:
    for posting in postings:
        if posting.source.polymer_id != colourway.polymer_id:
            raise BadInput(
                _("Lot %(lot)s is of another polymer than %(colourway)s.")
                % {"lot": lot_code(posting), "colourway": colourway},
                field="colourway",
            )
