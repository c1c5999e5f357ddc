"""What a recipe takes from the stock: lots, grams, heat, melt flow and cost. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
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


def recipe_of(blend: Colour) -> dict[str, int]:
    """Return a blend's recipe: parts per million by colour code, the largest share first."""
    return {share.of.code: share.share_ppm for share in blend.shares.select_related("of")}


def compute(*, blend: Colour, polymer: Polymer, total_mg: int, at: datetime) -> Answer:
    """Choose lots for a blend: each share exact where the stock gives it, else within tolerance.

    Only lots of the recipe's own colours are asked: another colour is never let in.
    """
    recipe = recipe_of(blend)
    for off in (0, blend.tolerance_ppm or 0):
        shares = tuple(
            ColourShare(colour=code, ppm_min=max(0, ppm - off), ppm_max=min(WHOLE_PPM, ppm + off))
            for code, ppm in recipe.items()
        )
        answer = blends.compute(
            polymer=polymer,
            recipe=Recipe(total_mg=total_mg, colours=shares),
            at=at,
            colours=list(recipe),
        )
        if answer.blend is not None:
            break
    return answer


def weighed(card: RecipeCard, masses_mg: Mapping[Lot, int]) -> tuple[Reached, ...]:
    """Return the shares that these masses reach, beside the card's recipe."""
    by_colour: Counter[str] = Counter()
    for lot, mass_mg in masses_mg.items():
        by_colour[lot.colour.code] += mass_mg
    recipe = dict(card.recipe)
    return recipe_shares.reached(by_colour, recipe, tolerance_ppm=card.tolerance_ppm)


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
