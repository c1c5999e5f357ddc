"""Recipe cards: planned from the stock, weighed at the press, and repeated in one step."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, StaleState
from inventory.events import Draft
from inventory.ledger.sums.codes import new_code
from inventory.material.queries import cards
from inventory.material.rules import material
from inventory.models import CardLine, Colour, Lot, Polymer, RecipeCard, Scale

if TYPE_CHECKING:
    from django.contrib.auth.models import User

State = RecipeCard.State
WANTED_FOR_LENGTH_MAX = 120
REASON_LENGTH_MAX = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A mass of a blend that is wanted: for which batch, and for what, in words.

    One like an earlier card is mixed by the recipe of that card, whatever the blend's is by now.
    """

    blend: Colour
    polymer: Polymer
    total_mg: int
    batch_code: str
    wanted_for: str
    like: RecipeCard | None = None

    def facts(self) -> list[Any]:
        """What was asked, for the fingerprint."""
        like = self.like.code if self.like else ""
        texts = [self.batch_code.strip(), self.wanted_for.strip(), like]
        return [self.blend.code, self.polymer.code, self.total_mg, *texts]

    def recipe(self) -> cards.Version:
        """Return the recipe to mix by."""
        return cards.on(self.like) if self.like else cards.current(self.blend)


def _under(event: Any) -> RecipeCard:
    return RecipeCard.objects.get(code=event.subject)


def _again(card: RecipeCard) -> RecipeCard:
    return RecipeCard.objects.select_related("blend", "polymer", "movement").get(pk=card.pk)


@events.rule("cards.plan", facts=lambda wanted: wanted.facts(), again=_under)
def plan(event: Draft, /, *, key: UUID, wanted: Wanted, at: datetime, by: User) -> RecipeCard:
    """Write a card that says which lots to weigh, from the recipe and the stock of today.

    Nothing is set aside: what is weighed later is checked again. Raises BadInput for what is no
    blend, Conflict when the lots on hand do not make the recipe.
    """
    _refuse_bad(wanted)
    recipe = wanted.recipe()
    answer = cards.compute(recipe=recipe, polymer=wanted.polymer, total_mg=wanted.total_mg, at=at)
    if answer.blend is None:
        raise Conflict(_("The lots on hand do not make this recipe. Want less, or grind first."))
    card = RecipeCard.objects.create(
        code=_fresh_code(),
        blend=wanted.blend,
        polymer=wanted.polymer,
        total_mg=wanted.total_mg,
        recipe=list(map(list, recipe.shares.items())),
        recipe_version=recipe.number,
        tolerance_ppm=recipe.tolerance_ppm,
        batch_code=wanted.batch_code.strip(),
        wanted_for=wanted.wanted_for.strip(),
        like=wanted.like,
        made_at=at,
        made_by=by,
    )
    order = [code for code, _share in card.recipe]
    # As the recipe lists its colours, the oldest lot of each first.
    portions = sorted(answer.portions, key=lambda one: order.index(one.lot.colour.code))
    CardLine.objects.bulk_create(
        CardLine(card=card, lot=one.lot, wanted_mg=one.mass_mg) for one in portions
    )
    event.of(card.code, batch=card.batch_code)
    return card


@events.rule(
    "cards.weigh",
    facts=lambda card, lots, scale, reason: [
        card.code,
        {lot.code: typed.strip() for lot, typed in lots.items()},
        scale.pk,
        reason.strip(),
    ],
    again=_again,
    aside=["scanned"],
)
def weigh(
    event: Draft,
    /,
    *,
    key: UUID,
    card: RecipeCard,
    lots: Mapping[Lot, str],
    scanned: Sequence[str],
    scale: Scale,
    reason: str,
    at: datetime,
    by: User,
) -> RecipeCard:
    """Issue what was weighed for a card, each lot proved by its scan.

    Raises BadInput for a lot that is not of the recipe, and (field "reason") for a share beyond
    its tolerance that nobody has explained; StaleState when the card is weighed or dropped.
    """
    if len(reason.strip()) > REASON_LENGTH_MAX:
        raise BadInput(_("Keep the reason to 200 characters."), field="reason")
    recipe = {code for code, _share in card.recipe}
    for lot in lots:
        if lot.polymer_id != card.polymer_id or lot.colour.code not in recipe:
            raise BadInput(
                _("Lot %(lot)s is not of this recipe.") % {"lot": lot.code}, field="lots"
            )
    movement = material.issue(
        key=uuid.uuid5(key, "issue"),
        lots=lots,
        scanned=scanned,
        batch_code=card.batch_code,
        scale=scale,
        at=at,
        by=by,
    )
    masses = cards.issued_by(movement)
    missed = [one for one in cards.weighed(card, masses) if not one.is_kept]
    # Raised after the issue and so takes it back: the ledger's own reading of what was typed is
    # the one that is judged.
    if missed and not reason.strip():
        raise BadInput(_missed_words(missed), field="reason")
    rows = RecipeCard.objects.filter(pk=card.pk, state=State.OPEN)
    told = reason.strip() if missed else ""
    if rows.update(state=State.WEIGHED, movement=movement, reason=told) != 1:
        raise StaleState()
    event.of(card.code, movement=movement.number, missed=[one.colour for one in missed])
    return _again(card)


@events.rule("cards.drop", facts=lambda card: [card.code], again=_again)
def drop(event: Draft, /, *, key: UUID, card: RecipeCard, at: datetime, by: User) -> RecipeCard:
    """Drop a card that is not wanted any more. Raises StaleState once it is weighed."""
    if RecipeCard.objects.filter(pk=card.pk, state=State.OPEN).update(state=State.DROPPED) != 1:
        raise StaleState()
    event.of(card.code)
    return _again(card)


def _missed_words(missed: Sequence[Any]) -> str:
    told = "; ".join(
        _("%(colour)s %(reached)s instead of %(wanted)s")
        % {
            "colour": one.colour,
            "reached": _percent(one.reached_ppm),
            "wanted": _percent(one.wanted_ppm),
        }
        for one in missed
    )
    return _(
        "Nothing is issued yet. Beyond the tolerance: %(told)s. Weigh again, or say why it shall "
        "be so."
    ) % {"told": told}


def _percent(share_ppm: int) -> str:
    return f"{number_format(Decimal(share_ppm) / 10_000, 1)} %"


def _refuse_bad(wanted: Wanted) -> None:
    if not wanted.blend.is_blend:
        raise BadInput(_("Only a blend has a recipe."), field="blend")
    if wanted.like is not None and wanted.like.blend != wanted.blend:
        raise BadInput(_("That card is of another blend."), field="like")
    if wanted.total_mg < 1:
        raise BadInput(_("Write how much is wanted."), field="mass")
    if not 1 <= len(wanted.batch_code.strip()) <= material.BATCH_CODE_LENGTH_MAX:
        raise BadInput(_("Name the production batch, in up to 20 characters."), field="batch_code")
    if not 1 <= len(wanted.wanted_for.strip()) <= WANTED_FOR_LENGTH_MAX:
        raise BadInput(_("Say what it is for, in up to 120 characters."), field="wanted_for")


def _fresh_code() -> str:
    while RecipeCard.objects.filter(code=(code := new_code("K"))).exists():
        continue
    return code
