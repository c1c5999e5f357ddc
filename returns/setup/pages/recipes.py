"""The recipe of a blend: as it is, as it was, and a new version of it. For the owner."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.masters import rules as masters
from inventory.material.queries import cards
from inventory.material.queries.cards import Version
from inventory.models import Colour, RecipeCard
from inventory.staff.queries import OWNER
from returns.setup.pages.forms import ChangedRecipeForm

CARDS_MAX = 12


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def page(request: StaffRequest, code: str) -> HttpResponse:
    """Show the versions of a blend's recipe with their cards, and take a new one."""
    blend = Colour.objects.filter(kind=Colour.Kind.BLEND, code=code).first()
    if blend is None:
        raise NotFound
    form = ChangedRecipeForm(request.POST or None, initial=_initial(blend))
    if form.is_bound and form.is_valid():
        facts = form.facts()
        form.attempt(
            masters.change_recipe, at=timezone.now(), by=request.user, blend=blend, **facts
        )
        if not form.errors:
            messages.success(request, _("The recipe has a new version."))
            return redirect("recipe", blend.code)
    colours = {colour.code: colour for colour in Colour.objects.all()}
    versions = [cards.current(blend), *cards.former(blend)]
    facts = {
        "blend": blend,
        "form": form,
        "versions": [_row(one, blend, colours) for one in versions],
    }
    return render(request, "returns/setup/recipe.html", facts, status=400 if form.errors else 200)


def _row(one: Version, blend: Colour, colours: Mapping[str, Colour]) -> dict[str, Any]:
    made = RecipeCard.objects.filter(blend=blend, recipe_version=one.number)
    return {
        "it": one,
        "shares": [(colours.get(code), ppm) for code, ppm in one.shares.items()],
        "cards": made[:CARDS_MAX],
        "is_current": one.number == blend.recipe_version,
    }


def _initial(blend: Colour) -> dict[str, Any]:
    shares = list(blend.shares.select_related("of"))
    found: dict[str, Any] = {
        "version": blend.recipe_version,
        "is_marbled": "yes" if blend.veins else "no",
        "tolerance": blend.tolerance_ppm,
    }
    for at, share in enumerate(shares, start=1):
        found |= {f"colour_{at}": share.of.pk, f"share_{at}": share.share_ppm}
    return found
