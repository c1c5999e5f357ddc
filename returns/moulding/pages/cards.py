"""Recipe cards: what to weigh for a batch of a blend, the weighing at the press, and once more."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, MassField, ScaleField, ScansField
from inventory.material.queries import boxes
from inventory.material.queries import cards as queries
from inventory.material.rules import cards, material
from inventory.material.sums import heat
from inventory.models import Colour, Lot, Polymer, RecipeCard
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER
from inventory.weighing import rules as weighing
from inventory.weighing.sums.masses import MassTextError, parse_mass_mg
from returns.arriving.pages import scales
from returns.bench.pages import notices
from returns.bench.pages.attempts import done
from returns.moulding.pages.blend import obstacle

LISTED_MAX: Final = 50


def _batch_field() -> forms.CharField:
    return forms.CharField(
        label=_("For production batch"),
        max_length=material.BATCH_CODE_LENGTH_MAX,
        help_text=_("The code that goes on the batch card, for example AV-2610."),
    )


class PlanForm(ActionForm):
    """A mass of a blend, and what it is for."""

    blend = forms.ModelChoiceField(
        Colour.objects.filter(kind=Colour.Kind.BLEND), label=_("Blend"), to_field_name="code"
    )
    polymer = forms.ModelChoiceField(
        Polymer.objects.all(), label=_("Polymer"), to_field_name="code", empty_label=None
    )
    mass = forms.CharField(label=_("Mass wanted"), max_length=40, help_text=_("For example 25 kg."))
    batch_code = _batch_field()
    wanted_for = forms.CharField(
        label=_("What it is for"),
        max_length=cards.WANTED_FOR_LENGTH_MAX,
        help_text=_("Such as “fronts of Avocet, Tideline”."),
    )

    def clean_mass(self) -> int:
        """Read the mass as whole milligrams."""
        try:
            return parse_mass_mg(self.cleaned_data["mass"])
        except MassTextError as error:
            raise forms.ValidationError(weighing.refusal(error)) from error

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        data = self.cleaned_data
        wanted = cards.Wanted(
            blend=data["blend"],
            polymer=data["polymer"],
            total_mg=data["mass"],
            batch_code=data["batch_code"],
            wanted_for=data["wanted_for"],
        )
        return {"wanted": wanted}


class AgainForm(ActionForm):
    """Another batch like that one: only its code is new."""

    batch_code = _batch_field()


class WeighForm(ActionForm):
    """At the press: each lot scanned and weighed."""

    scale = ScaleField()
    scanned = ScansField(
        kind="lot",
        label=_("Labels of the lots"),
        help_text=_("Scan each lot that you take from, or type its code, one a line."),
    )
    reason = forms.CharField(
        required=False,
        max_length=cards.REASON_LENGTH_MAX,
        label=_("Why a share misses the recipe"),
        help_text=_("Only when one is beyond its tolerance."),
    )

    def __init__(self, card: RecipeCard, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        rows = card.lines.select_related("lot__colour", "lot__polymer", "lot__place")
        self.lines = list(rows.order_by("pk"))
        for line in self.lines:
            name = f"lot-{line.lot.pk}"
            self.fields[name] = MassField(required=False, label=line.lot.code)
            marks = {"data-label": line.lot.code, "data-colour": line.lot.colour.code}
            self.fields[name].widget.attrs |= marks

    def typed(self) -> dict[Lot, str]:
        """Return what was typed for each lot."""
        names = {line.lot: self.cleaned_data.get(f"lot-{line.lot.pk}") for line in self.lines}
        return {lot: text for lot, text in names.items() if text}

    def facts(self) -> dict[str, Any]:
        """Return the arguments of the rule."""
        names = ("scanned", "scale", "reason")
        return {"lots": self.typed()} | {name: self.cleaned_data[name] for name in names}

    def masses(self) -> dict[Lot, int]:
        """Return what could be read of what was typed, in mg."""
        found = {}
        for line in self.lines:
            try:
                found[line.lot] = parse_mass_mg(str(self[f"lot-{line.lot.pk}"].value() or ""))
            except MassTextError:
                continue
        return found


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def card_list(request: StaffRequest) -> HttpResponse:
    """Show the cards, and plan one."""
    form = PlanForm(request.POST) if request.method == "POST" else PlanForm()
    facts = form.facts() if form.is_bound and form.is_valid() else {}
    if form.is_bound and done(request, form, cards.plan, **facts):
        card = RecipeCard.objects.filter(batch_code=form.cleaned_data["batch_code"].strip())
        newest = card.order_by("-pk").first()
        return redirect("card", newest.code) if newest else redirect("cards")
    rows = RecipeCard.objects.select_related("blend", "polymer")
    shown: dict[str, Any] = {
        "form": form,
        "cards": rows[:LISTED_MAX],
        "blends": Colour.objects.filter(kind=Colour.Kind.BLEND).exists(),
        "obstacles": _obstacles(form),
    }
    return render(request, "returns/workroom/cards.html", shown, status=_status(form))


def _obstacles(form: PlanForm) -> list[str]:
    """Say what would make an impossible recipe possible, when the rule has refused it."""
    if form.refusal is None:
        return []
    data = form.cleaned_data
    if not {"blend", "polymer", "mass"} <= data.keys():
        return []
    recipe = queries.current(data["blend"])
    answer = queries.compute(
        recipe=recipe, polymer=data["polymer"], total_mg=data["mass"], at=timezone.now()
    )
    return [obstacle(one) for one in (*answer.alone, *answer.together)]


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def card(request: StaffRequest, code: str) -> HttpResponse:
    """Show a card: what to take, what the blend will be, and what it became."""
    found = _card(code)
    return _page(request, found, {"form": WeighForm(found, initial=scales.last(request))})


@require_POST
@allow(BENCH, OWNER)
def act(request: StaffRequest, code: str, action: str) -> HttpResponse:
    """Weigh a card, drop it, or plan another batch like it."""
    found = _card(code)
    if action == "weigh":
        return _weigh(request, found)
    if action == "again":
        return _once_more(request, found)
    if action != "drop":
        raise NotFound()
    form = ActionForm(request.POST)
    if done(request, form, cards.drop, card=found):
        return redirect("cards")
    return _page(request, found, {"form": WeighForm(found), "refused": form})


def _weigh(request: StaffRequest, found: RecipeCard) -> HttpResponse:
    form = WeighForm(found, request.POST)
    facts = form.facts() if form.is_valid() else {}
    if done(request, form, cards.weigh, card=found, **facts):
        words = _t("Card %(card)s is weighed and issued to the press.") % {"card": found.code}
        notices.moved(request, words, form)
        return redirect("card", found.code)
    return _page(request, found, {"form": form, "refused": form})


def _once_more(request: StaffRequest, found: RecipeCard) -> HttpResponse:
    form = AgainForm(request.POST, auto_id="again_%s")
    wanted = cards.Wanted(
        blend=found.blend,
        polymer=found.polymer,
        total_mg=found.total_mg,
        batch_code=form.cleaned_data["batch_code"] if form.is_valid() else "",
        wanted_for=found.wanted_for,
        like=found,
    )
    if done(request, form, cards.plan, wanted=wanted):
        newest = found.repeated.order_by("-pk").first()
        return redirect("card", newest.code if newest else found.code)
    return _page(request, found, {"form": WeighForm(found), "again": form, "refused": form})


def _card(code: str) -> RecipeCard:
    rows = RecipeCard.objects.select_related("blend", "polymer", "movement", "like", "made_by")
    # PostgreSQL refuses a NUL in a text with an error; SQLite looks it up.
    found = None if "\x00" in code else rows.filter(code=code).first()
    if found is None:
        raise NotFound()
    return found


def _page(request: StaffRequest, found: RecipeCard, tried: dict[str, Any]) -> HttpResponse:
    form: WeighForm = tried["form"]
    taken = queries.taken_of(found)
    masses = taken or (form.masses() if form.is_bound else {})
    worth = queries.worth_of([line.lot for line in form.lines], timezone.now())
    rows: list[dict[str, Any]] = [
        {
            "line": line,
            "held_mg": boxes.held_mg(line.lot.place),
            "spread": heat.HeatSpread.from_list(line.lot.heat),
            "taken_mg": taken.get(line.lot),
            "cost_minor": _cost(worth, line),
            "mass": form[f"lot-{line.lot.pk}"],
        }
        for line in form.lines
    ]
    fed = heat.blend([(row["spread"], row["line"].wanted_mg) for row in rows])
    colours = {one.code: one for one in Colour.objects.filter(code__in=dict(found.recipe))}
    facts: dict[str, Any] = {
        "card": found,
        "rows": rows,
        "fed": fed,
        "moulded": heat.after_melt(fed),
        "cost_minor": _total([row["cost_minor"] for row in rows]),
        "reached": [(colours.get(one.colour), one) for one in queries.weighed(found, masses)],
        "is_begun": bool(masses),
        "is_old_recipe": found.recipe_version != found.blend.recipe_version,
        "wanted": [(colours.get(colour), ppm) for colour, ppm in found.recipe],
        "wide": True,
        "is_open": found.state == RecipeCard.State.OPEN,
        "is_weighed": found.state == RecipeCard.State.WEIGHED,
        "drop_form": ActionForm(auto_id="drop_%s"),
        "again": AgainForm(auto_id="again_%s"),
    } | tried
    status = 422 if tried.get("refused") else 200
    return render(request, "returns/workroom/card.html", facts, status=status)


def _cost(worth: dict[Lot, int], line: Any) -> int | None:
    return worth[line.lot] * line.wanted_mg // 1_000_000 if line.lot in worth else None


def _total(costs: list[int | None]) -> int | None:
    known = [cost for cost in costs if cost is not None]
    # A sum without one of its lots would be too little.
    return sum(known) if len(known) == len(costs) else None


def _status(form: forms.Form) -> int:
    return 422 if form.is_bound and form.errors else 200
