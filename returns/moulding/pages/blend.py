"""What to take from which lot for a recipe, or which of its limits makes it impossible."""

from __future__ import annotations

from decimal import Decimal
from math import ceil, floor
from typing import Any, Final
from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import FigureField
from inventory.furniture.wording import mass_kg, ppm
from inventory.material.queries import blends
from inventory.material.queries.blends import Answer, Portion
from inventory.material.sums.blending import (
    BadRecipe,
    ColourShare,
    LeftOut,
    LimitKind,
    Obstacle,
    Recipe,
)
from inventory.material.sums.heat import PASSES_MAX
from inventory.material.sums.melt_flow import RULE_RATIO_MAX
from inventory.models import Colour, Polymer
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing import rules as weighing
from inventory.weighing.sums.masses import MassTextError, parse_mass_mg
from returns.moulding.pages.heat_shown import spread_rows

PERCENT_PPM: Final = 10_000
FLOW_MAX: Final = 1000

LIMITS = {
    LimitKind.REGRIND_SHARE: _("Let the share of regrind rise from %(bound)s to %(eased)s."),
    LimitKind.MEAN_PASSES: _("Let the mean of heat passes rise from %(bound)s to %(eased)s."),
    LimitKind.MAX_PASSES: _("Take lots with up to %(eased)s heat passes instead of %(bound)s."),
    LimitKind.MELT_FLOW: _("Let the melt flow go from %(bound)s to %(eased)s g/10 min."),
    LimitKind.COLOUR_SHARE: _("Let the share of %(subject)s go from %(bound)s to %(eased)s."),
    LimitKind.MATERIAL_ON_HAND: _(
        "Mix less: of %(bound)s, %(eased)s can be mixed within the other limits; %(by)s is short."
    ),
}
REASONS = {
    LeftOut.EMPTY: _("empty"),
    LeftOut.TOO_MANY_PASSES: _("more heat passes than allowed"),
    LeftOut.MELT_FLOW_UNKNOWN: _("its melt flow is not known"),
}


# How finely an eased limit is shown: 0.01 %, whole grams, whole passes, else two decimals.
_STEPS: Final[dict[LimitKind, float]] = {
    LimitKind.REGRIND_SHARE: 100,
    LimitKind.COLOUR_SHARE: 100,
    LimitKind.MATERIAL_ON_HAND: 1000,
    LimitKind.MAX_PASSES: 1,
}


def _percent(label: Any, **more: Any) -> FigureField:
    return FigureField(label=label, min_value=0, max_value=100, decimal_places=2, **more)


def _figure(label: Any, largest: int, places: int = 2, **more: Any) -> FigureField:
    return FigureField(
        label=label,
        required=False,
        min_value=Decimal("0.01"),
        max_value=largest,
        decimal_places=places,
        **more,
    )


class BlendForm(forms.Form):
    """The recipe. An empty limit is no limit."""

    polymer = forms.ModelChoiceField(
        Polymer.objects.all(), label=_("Polymer"), to_field_name="code"
    )
    colour = forms.ModelChoiceField(Colour.objects.all(), label=_("Colour"), to_field_name="code")
    mass = forms.CharField(label=_("Mass wanted"), max_length=40, help_text=_("For example 25 kg."))
    colour_min = _percent(
        _("Share of that colour, at least %"),
        initial=100,
        help_text=_("Less than 100 lets other colours in."),
    )
    regrind_max = _percent(
        _("Share of regrind, at most %"),
        required=False,
        help_text=_("Ground returns and in-process scrap together."),
    )
    mean_passes = _figure(_("Mean heat passes before moulding, at most"), PASSES_MAX)
    passes = forms.IntegerField(
        label=_("Heat passes of any share before moulding, at most"),
        required=False,
        min_value=0,
        max_value=PASSES_MAX,
    )
    flow_min = _figure(
        _("Melt flow, at least (g/10 min)"),
        FLOW_MAX,
        help_text=_("With a melt-flow limit, lots without a measured melt flow are left out."),
    )
    flow_max = _figure(_("Melt flow, at most (g/10 min)"), FLOW_MAX)
    batch_code = forms.CharField(label=_("For production batch"), required=False, max_length=20)

    def clean_mass(self) -> int:
        """Read the mass as whole milligrams."""
        try:
            return parse_mass_mg(self.cleaned_data["mass"])
        except MassTextError as error:
            raise forms.ValidationError(weighing.refusal(error)) from error

    def recipe(self) -> Recipe:
        """Return the recipe as the sums take it. BadRecipe when its limits contradict."""
        data = self.cleaned_data
        least = ColourShare(colour=data["colour"].code, ppm_min=_ppm(data["colour_min"]) or 0)
        return Recipe(
            total_mg=data["mass"],
            regrind_ppm_max=_ppm(data["regrind_max"]),
            mean_passes_max=_float(data["mean_passes"]),
            passes_max=data["passes"],
            melt_flow_min=_float(data["flow_min"]),
            melt_flow_max=_float(data["flow_max"]),
            colours=(least,),
        )


@require_safe
@allow(BENCH, OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """Show the form alone, or with its answer: nothing is changed by asking."""
    # By GET: asking changes nothing, and the address of an answer can be kept and sent on.
    form = BlendForm(request.GET) if "mass" in request.GET else BlendForm()
    answer = _answer(form) if form.is_bound and form.is_valid() else None
    facts: dict[str, Any] = {"form": form, "answer": answer}
    if answer is not None:
        facts |= _shown(answer, form.cleaned_data["batch_code"])
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "returns/workroom/blend.html", facts, status=status)


def _answer(form: BlendForm) -> Answer | None:
    try:
        recipe = form.recipe()
    except BadRecipe as error:
        form.add_error(None, _t(error.template))
        return None
    return blends.compute(polymer=form.cleaned_data["polymer"], recipe=recipe, at=timezone.now())


def _shown(answer: Answer, batch_code: str) -> dict[str, Any]:
    if answer.blend is None:
        return {
            "alone": [obstacle(one) for one in answer.alone],
            "together": [obstacle(one) for one in answer.together],
        }
    return {
        "fed": answer.blend.spread,
        "moulded": spread_rows(answer.moulded) if answer.moulded else [],
        "moulded_spread": answer.moulded,
        "regrind_ppm": round(answer.blend.regrind_ppm),
        "flow": answer.blend.melt_flow,
        "ratio_max": RULE_RATIO_MAX,
        "left_out": [(lot, REASONS[reason]) for lot, reason in answer.left_out],
        "issue_path": _issue_path(answer.portions, batch_code),
    }


def obstacle(one: Obstacle) -> str:
    """Word an obstacle as what could be done about it, its figure rounded to what suffices."""
    step = _STEPS.get(one.limit, 0.01)
    # Away from the bound: rounded the other way, the eased limit would just fail to be enough.
    rounded = ceil if one.eased_to > one.bound else floor
    # Rounded first, so that a last bit above a whole step does not cost another step.
    eased = rounded(round(one.eased_to / step, 6)) * step
    return str(LIMITS[one.limit]) % {
        "subject": one.subject,
        "bound": _limit_text(one.limit, one.bound),
        "eased": _limit_text(one.limit, eased),
        "by": _limit_text(one.limit, abs(eased - one.bound)),
    }


def _limit_text(limit: LimitKind, figure: float) -> str:
    if limit in (LimitKind.REGRIND_SHARE, LimitKind.COLOUR_SHARE):
        return ppm(round(figure), 2)
    if limit is LimitKind.MATERIAL_ON_HAND:
        return mass_kg(round(figure))
    return fixed(figure, 2) if limit is not LimitKind.MAX_PASSES else str(round(figure))


def _issue_path(portions: tuple[Portion, ...], batch_code: str) -> str:
    """Return the path of the issue form with these lots filled in, rounded down to whole grams."""
    filled = {f"lot-{one.lot.pk}": _to_weigh(one.mass_mg) for one in portions}
    if batch_code:
        filled["batch_code"] = batch_code
    return f"{reverse('stock-action', args=['issue'])}?{urlencode(filled)}"


def _to_weigh(mass_mg: int) -> str:
    # Down, never up: the lot must hold what the form proposes to take.
    return f"{mass_mg // 1000} g" if mass_mg >= 1000 else f"{mass_mg} mg"


def _ppm(percent: Decimal | None) -> int | None:
    # Exact: Decimals, and the field lets no more decimals in than parts per million hold.
    return None if percent is None else int(percent * PERCENT_PPM)


def _float(figure: Decimal | None) -> float | None:
    return None if figure is None else float(figure)
