"""What a recipe takes from the stock: lots, grams, heat, melt flow and cost. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from inventory import clock
from inventory.material.queries import blends
from inventory.material.queries.blends import Answer
from inventory.material.sums import recipe_shares
from inventory.material.sums.blending import ColourShare, Recipe
from inventory.material.sums.heat import WHOLE_PPM
from inventory.material.sums.recipe_shares import Reached
from inventory.models import Colour, Lot, Movement, Polymer, RecipeCard
from inventory.months.queries.recovered import report
from inventory.months.queries.recovered.shapes import Class
from inventory.months.sums.calendar_month import Month


@dataclass(frozen=True, slots=True)
class Version:
    """A recipe in one version: parts per million by colour code, the largest share first, and by
    how much of the whole a share may miss it."""

    number: int
    shares: Mapping[str, int]
    tolerance_ppm: int


def current(blend: Colour) -> Version:
    """Return a blend's recipe as it is now."""
    shares = {share.of.code: share.share_ppm for share in blend.shares.select_related("of")}
    return Version(blend.recipe_version, shares, blend.tolerance_ppm or 0)


def on(card: RecipeCard) -> Version:
    """Return the recipe that a card was made by."""
    return Version(card.recipe_version, dict(card.recipe), card.tolerance_ppm)


def former(blend: Colour) -> list[Version]:
    """Return the recipes that a blend had before, the latest first."""
    return [
        Version(one.version, dict(one.recipe), one.tolerance_ppm)
        for one in blend.former_recipes.all()
    ]


def compute(*, recipe: Version, polymer: Polymer, total_mg: int, at: datetime) -> Answer:
    """Choose lots for a blend: each share exact where the stock gives it, else within tolerance.

    Only lots of the recipe's own colours are asked: another colour is never let in.
    """
    for off in (0, recipe.tolerance_ppm):
        shares = tuple(
            ColourShare(colour=code, ppm_min=max(0, ppm - off), ppm_max=min(WHOLE_PPM, ppm + off))
            for code, ppm in recipe.shares.items()
        )
        answer = blends.compute(
            polymer=polymer,
            recipe=Recipe(total_mg=total_mg, colours=shares),
            at=at,
            colours=list(recipe.shares),
        )
        if answer.blend is not None:
            break
    return answer


def weighed(card: RecipeCard, masses_mg: Mapping[Lot, int]) -> tuple[Reached, ...]:
    """Return the shares that these masses reach, beside the card's recipe."""
    by_colour: Counter[str] = Counter()
    for lot, mass_mg in masses_mg.items():
        by_colour[lot.colour.code] += mass_mg
    recipe = on(card)
    return recipe_shares.reached(by_colour, recipe.shares, tolerance_ppm=recipe.tolerance_ppm)


def taken_of(card: RecipeCard) -> dict[Lot, int]:
    """Return what was issued for a card, by lot, in mg; nothing before it is weighed."""
    return issued_by(card.movement) if card.movement else {}


def issued_by(movement: Movement) -> dict[Lot, int]:
    """Return what a movement took of each lot, in mg."""
    rows = movement.postings.select_related("source__lot__colour").order_by("line")
    return {line.source.lot: line.quantity for line in rows if line.source.lot is not None}


def worth_of(lots: Iterable[Lot], at: datetime) -> dict[Lot, int]:
    """Return what a kilogram of each lot has cost so far, in minor units, by the month's figures.

    By class, as the month's report values it; a class without a worth is left out.
    """
    rows = report.of_month(str(Month.of_date(clock.day_of(at)))).worth
    by_class = {row.material: row for row in rows if row.closing_mg}
    found = {}
    for lot in lots:
        row = by_class.get(Class(lot.polymer.code, lot.colour.code, lot.origin))
        if row is not None:
            found[lot] = row.cost_minor * 1_000_000 // row.closing_mg
    return found
