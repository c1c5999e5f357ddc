"""A production batch is moulded from the lots that were issued for it, or was before the ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import clock, events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.material.sums.heat import BadHeatSpread, HeatSpread
from inventory.models import Movement, Posting
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Material
from returns.models import BatchMaterial, Colourway, ProductionBatch
from returns.moulding import queries as moulded

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@events.rule(
    "batches.mould",
    facts=lambda colourway, code, made_on, pieces, issues: [
        colourway.pk,
        code.strip(),
        made_on.isoformat(),
        pieces,
        sorted(movement.number for movement in issues),
    ],
    again=lambda event: ProductionBatch.objects.get(code=event.subject),
)
def mould(
    event: Draft,
    /,
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
    movements, when not all of them are meant); moulding is one more heat pass for all of
    it. Where front and arms differ, each material keeps the passes of what was issued for it.

    Raises BadInput when nothing was issued for it, a lot is of another polymer or its day is still
    to come, Conflict when the batch exists.
    """
    numbers = sorted(movement.number for movement in issues)
    if pieces < 1:
        raise BadInput(_("Write how many good pieces came out."), field="pieces")
    if made_on > clock.day_of(at):
        raise BadInput(_("This day is still to come."), field="made_on")
    # For the sentence alone: of two hands at once, the unique column refuses the second.
    if ProductionBatch.objects.filter(code=code.strip()).exists():
        raise Conflict(_("Batch %(code)s exists already.") % {"code": code.strip()}, field="code")
    rows = moulded.issued([code.strip()])
    postings = list(rows.filter(movement__number__in=numbers) if numbers else rows)
    if not postings:
        raise BadInput(_("Nothing was issued for this batch. Issue its flake first."), field="code")
    materials = catalogue.materials_of(colourway)
    _refuse_other_polymer(postings, colourway, materials)
    batch = ProductionBatch.objects.create(
        code=code.strip(),
        colourway=colourway,
        made_on=made_on,
        pieces=pieces,
        # Kept with the batch: a lot's own spread is not asked again when its frames come back years
        # later.
        heat=moulded.heat_of(postings).to_list(),
        issued_mg=sum(posting.quantity for posting in postings),
    )
    if len(materials) > 1:
        BatchMaterial.objects.bulk_create(
            BatchMaterial(batch=batch, polymer=of.polymer, colour=of.colour, heat=spread.to_list())
            for of, spread in moulded.of_materials(postings, materials).items()
        )
    event.of(batch.code, lots=sorted({moulded.lot_code(posting) for posting in postings}))
    return batch


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the workshop notes on a batch card; None where nothing was noted.

    Temperatures in degrees Celsius, the force of the press in newtons, its time in seconds, the
    minutes of work on the whole batch.
    """

    mould_temperature_c: int | None = None
    melt_temperature_c: int | None = None
    force_n: int | None = None
    press_time_s: int | None = None
    work_minutes: int | None = None
    settings_note: str = ""

    def facts(self) -> list[Any]:
        """What was asked, for the fingerprint."""
        figures = [self.mould_temperature_c, self.melt_temperature_c, self.force_n]
        return [*figures, self.press_time_s, self.work_minutes, self.settings_note.strip()]


SETTINGS_MAX: Final = {
    "mould_temperature_c": 400,
    "melt_temperature_c": 400,
    "force_n": 10_000_000,
    "press_time_s": 86_400,
    "work_minutes": 100_000,
}
"""The most that is taken for a setting: beyond it, a finger slipped. Own choice."""
NOTE_LENGTH_MAX: Final = 200


@events.rule(
    "batches.note_settings",
    facts=lambda batch, settings: [batch.code, *settings.facts()],
    again=lambda batch: ProductionBatch.objects.get(pk=batch.pk),
)
def note_settings(
    event: Draft,
    /,
    *,
    key: UUID,
    batch: ProductionBatch,
    settings: Settings,
    at: datetime,
    by: User,
) -> ProductionBatch:
    """Write the settings on a batch's card, over what was noted before; the history keeps both.

    Raises BadInput, naming the field, for a figure that no press has.
    """
    data = asdict(settings)
    for name, most in SETTINGS_MAX.items():
        if data[name] is not None and not 0 <= data[name] <= most:
            raise BadInput(_("Write a figure from 0 to %(most)s.") % {"most": most}, field=name)
    if len(settings.settings_note.strip()) > NOTE_LENGTH_MAX:
        raise BadInput(_("Keep the note to 200 characters."), field="settings_note")
    data["settings_note"] = settings.settings_note.strip()
    ProductionBatch.objects.filter(pk=batch.pk).update(**data)
    event.of(batch.code, **data)
    return ProductionBatch.objects.get(pk=batch.pk)


@dataclass(frozen=True, slots=True)
class Earlier:
    """A batch that was moulded before this ledger began.

    `shares` is the ppm of its plastic by how often it was melted, this moulding counted.
    """

    colourway: Colourway
    code: str
    made_on: date
    pieces: int
    shares: Mapping[int, int]


@events.rule(
    "batches.note_earlier",
    facts=lambda batch: [
        batch.colourway.pk,
        batch.code.strip(),
        batch.made_on.isoformat(),
        batch.pieces,
        sorted(batch.shares.items()),
    ],
    again=lambda event: ProductionBatch.objects.get(code=event.subject),
)
def note_earlier(
    event: Draft, /, *, key: UUID, batch: Earlier, at: datetime, by: User
) -> ProductionBatch:
    """Note a batch of before the ledger: nothing is booked, its heat history is as it is told.

    Raises BadInput naming the field, Conflict when the batch exists.
    """
    code = batch.code.strip()
    if batch.made_on > clock.day_of(at):
        raise BadInput(_("This day is still to come."), field="made_on")
    if ProductionBatch.objects.filter(code=code).exists():
        raise Conflict(_("Batch %(code)s exists already.") % {"code": code}, field="code")
    # What was issued for it is in the ledger, and knows its own heat history.
    if moulded.issued([code]).exists():
        raise Conflict(_("Flake was issued for this batch: note it where you mould."), field="code")
    try:
        heat = HeatSpread(tuple(sorted((n, ppm) for n, ppm in batch.shares.items() if ppm)))
    except BadHeatSpread as error:
        raise BadInput(_("The shares add up to 100 %."), field="melted_1") from error
    made = ProductionBatch.objects.create(
        code=code,
        colourway=batch.colourway,
        made_on=batch.made_on,
        pieces=batch.pieces,
        heat=heat.to_list(),
    )
    event.of(code)
    return made


def _refuse_other_polymer(
    postings: list[Posting], colourway: Colourway, materials: Sequence[Material]
) -> None:
    polymers = {material.polymer.pk for material in materials}
    for posting in postings:
        if posting.source.polymer_id not in polymers:
            raise BadInput(
                _("Lot %(lot)s is of another polymer than %(colourway)s.")
                % {"lot": moulded.lot_code(posting), "colourway": colourway},
                field="colourway",
            )
