"""Batch cards: what a batch was moulded from and how, and how the best ones like it were."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import NotFound
from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.material.sums.heat import HeatSpread
from inventory.models import RecipeCard
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages.attempts import done
from returns.models import ProductionBatch
from returns.moulding import rules
from returns.spoiling import queries as yields
from returns.spoiling.pages import percent

LISTED_MAX = 60


def _figure(name: str, label: Any, **more: Any) -> forms.IntegerField:
    most = rules.SETTINGS_MAX[name]
    return forms.IntegerField(label=label, required=False, min_value=0, max_value=most, **more)


class SettingsForm(ActionForm):
    """The settings that were noted; each may be left out."""

    mould_temperature_c = _figure("mould_temperature_c", _("Temperature of the mould, °C"))
    melt_temperature_c = _figure("melt_temperature_c", _("Temperature of the melt, °C"))
    force_n = _figure("force_n", _("Force of the press, N"))
    press_time_s = _figure("press_time_s", _("Time under pressure, s"))
    work_minutes = _figure(
        "work_minutes",
        _("Work on the whole batch, minutes"),
        help_text=_("To the finished pair. The cost of a new frame follows from it."),
    )
    settings_note = forms.CharField(
        label=_("Note"), required=False, max_length=rules.NOTE_LENGTH_MAX
    )

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        named = {name: data for name, data in self.cleaned_data.items() if name != "key"}
        return {"settings": rules.Settings(**named)}


@require_safe
@allow(BENCH, OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """Show the newest batches, each with a way to its card."""
    rows = ProductionBatch.objects.select_related("colourway__model", "colourway__colour")
    facts = {"batches": rows[:LISTED_MAX]}
    return render(request, "returns/workroom/batches.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def card(request: StaffRequest, code: str) -> HttpResponse:
    """Show the card of a batch, and note its settings."""
    batch = _batch(code)
    form = SettingsForm(request.POST or None, initial=settings_of(batch))
    facts = form.facts() if form.is_bound and form.is_valid() else {}
    if form.is_bound and done(request, form, rules.note_settings, batch=batch, **facts):
        messages.success(request, _t("Noted on the card of %(batch)s.") % {"batch": batch.code})
        return redirect("batch", batch.code)
    shown: dict[str, Any] = {
        "batch": batch,
        "form": form,
        "heat": HeatSpread.from_list(batch.heat),
        "materials": [
            (row, HeatSpread.from_list(row.heat))
            for row in batch.materials.select_related("polymer", "colour")
        ],
        "cards": RecipeCard.objects.filter(batch_code=batch.code).select_related("blend"),
        "best": [_best(one) for one in yields.best_alike(batch)],
        "wide": True,
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "returns/workroom/batch.html", shown, status=status)


def settings_of(batch: ProductionBatch) -> dict[str, Any]:
    """Return what is noted on a batch's card, by the names of the settings."""
    return {name: getattr(batch, name) for name in asdict(rules.Settings())}


def _best(one: yields.Alike) -> dict[str, Any]:
    first = one.made.steps[0].share
    return {
        "batch": one.made.batch,
        "first": percent(first) if first is not None else "–",
        "rolled": percent(one.made.rolled),
        "limits": f"{fixed(100 * one.interval.low, 1)} – {percent(one.interval.high)}",
        "begun": one.made.begun,
    }


def _batch(code: str) -> ProductionBatch:
    rows = ProductionBatch.objects.select_related("colourway__model", "colourway__colour")
    # PostgreSQL refuses a NUL in a text with an error; SQLite looks it up.
    found = None if "\x00" in code else rows.filter(code=code).first()
    if found is None:
        raise NotFound()
    return found
