"""The owner asks which lots make the next batches; the page proposes, and issues nothing."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed, money
from inventory.furniture.pages.access import allow
from inventory.models import Colour, Polymer, Workshop
from inventory.staff.queries import OWNER
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.tables import Cell, Table, words
from returns.figures.claims.sums.claims import InputRefused
from returns.figures.press import queries
from returns.figures.press.sums import WEEKS_MAX, Broken, Plan, Promise, Wanted, plan

_FLOW_MAX = 1000


def _flow(label: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, required=False, min_value=0.01, max_value=_FLOW_MAX, decimal_places=2
    )


class PressForm(forms.Form):
    """What is to be moulded, and what is promised of it. An empty promise is none."""

    polymer = forms.ModelChoiceField(
        Polymer.objects.all(), label=_("Polymer"), to_field_name="code"
    )
    colour = forms.ModelChoiceField(Colour.objects.all(), label=_("Colour"), to_field_name="code")
    kg = forms.DecimalField(
        label=_("Kilograms a week"), min_value=0.01, max_value=100_000, decimal_places=2
    )
    weeks = forms.IntegerField(label=_("Weeks"), min_value=1, max_value=WEEKS_MAX, initial=4)
    returned = forms.DecimalField(
        label=_("From returns, at least %"),
        required=False,
        min_value=0,
        max_value=100,
        decimal_places=1,
    )
    passes = forms.DecimalField(
        label=_("Mean heat passes before moulding, at most"),
        required=False,
        min_value=0,
        max_value=50,
        decimal_places=2,
    )
    flow_min = _flow(_("Melt flow, at least (g/10 min)"))
    flow_max = _flow(_("Melt flow, at most (g/10 min)"))
    price = forms.DecimalField(
        label=_("Bought material, a kilogram"),
        required=False,
        min_value=0,
        max_value=100_000,
        decimal_places=2,
        help_text=_("Leave it empty to plan with your own material only."),
    )
    bought_flow = _flow(_("Its melt flow (g/10 min)"))

    def wanted(self) -> Wanted:
        """Return it as the sums take it. InputRefused when the promises contradict."""
        data = self.cleaned_data
        returned = data["returned"]
        return Wanted(
            kg=(float(data["kg"]),) * data["weeks"],
            returned_min=None if returned is None else float(returned) / 100,
            passes_max=_float(data["passes"]),
            flow_min=_float(data["flow_min"]),
            flow_max=_float(data["flow_max"]),
        )


def _float(figure: Any) -> float | None:
    return None if figure is None else float(figure)


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show the form and, once it was sent, the plan or what stands in its way."""
    form = PressForm(request.GET or None)
    facts: dict[str, Any] = {"form": form, "wide": True}
    status = 200
    if form.is_bound and form.is_valid():
        try:
            facts |= _answer(form)
        except InputRefused:
            form.add_error("flow_max", _t("The upper limit lies below the lower one."))
    if form.is_bound and not form.is_valid():
        status = 400
    return render(request, "returns/owner/press.html", facts, status=status)


def _answer(form: PressForm) -> dict[str, Any]:
    data, wanted = form.cleaned_data, form.wanted()
    found = queries.sources(data["polymer"], data["colour"], weeks=data["weeks"], at=timezone.now())
    if data["price"] is not None:
        price = float(data["price"] * 100)
        found.append(queries.bought(minor_per_kg=price, flow=_float(data["bought_flow"])))
    made = plan(found, wanted)
    return {
        "plan": made,
        "table": _table(made),
        "cost": f"{money(round(made.cost_minor))} {Workshop.the().currency}",
        "broken": [_broken(one) for one in made.broken],
        "short": _short(made),
        "left_out": ", ".join(_name(key) for key in made.left_out),
    }


def _short(found: Plan) -> str:
    if found.short is None:
        return ""
    week, kg = found.short
    facts = {"week": week + 1, "kg": fixed(kg, 2)}
    return _t("Material is short: %(kg)s kg are missing by week %(week)s.") % facts


def _broken(one: Broken) -> str:
    word = shown.percent if one.promise is Promise.RETURNED else _figure
    facts = {"week": one.week + 1, "bound": word(one.promised), "eased": word(one.possible)}
    return str(_WORDS[one.promise]) % facts


def _figure(value: float) -> str:
    return fixed(value, 2)


_WORDS = {
    Promise.RETURNED: _(
        "Week %(week)s: at least %(bound)s from returns is promised, %(eased)s would be possible."
    ),
    Promise.PASSES: _(
        "Week %(week)s: at most %(bound)s heat passes are promised, %(eased)s would be needed."
    ),
    Promise.FLOW_MIN: _(
        "Week %(week)s: a melt flow of at least %(bound)s is promised, %(eased)s would be possible."
    ),
    Promise.FLOW_MAX: _(
        "Week %(week)s: a melt flow of at most %(bound)s is promised, %(eased)s would be needed."
    ),
}


def _name(key: str) -> str:
    if key == queries.BOUGHT:
        return _t("bought material")
    if key.startswith("+"):
        return _t("flake that returns bring by week %(week)s") % {"week": int(key[1:]) + 1}
    return key


def _table(found: Plan) -> Table:
    rows = tuple(
        (
            words(str(one.week + 1)),
            words(one.key, _name(one.key)),
            Cell(one.kg, fixed(one.kg, 3)),
        )
        for one in found.portions
    )
    columns = (_t("Week"), _t("Material"), _t("Kilograms"))
    return Table(
        "press", _t("What goes into each week's batch"), ("week", "lot", "kg"), columns, rows
    )
