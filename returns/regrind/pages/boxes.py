"""Regrind boxes and grind runs: propose, confirm as a second person, weigh out, explain."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.forms.boundfield import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import (
    ActionForm,
    FigureField,
    MassField,
    ScaleField,
    ScanField,
)
from inventory.material.queries import boxes as box_queries
from inventory.material.rules import grinding
from inventory.material.rules.grinding import GrindOut
from inventory.models import GrindRun, Place, PlaceKind, Reading, Workshop
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.bench.pages.attempts import done, found
from returns.regrind.rules import regrind


class SeenForm(ActionForm):
    """The mass that the second person was shown, and the label of the box they stand at."""

    seen_mg = forms.IntegerField(widget=forms.HiddenInput)
    scanned = ScanField(
        kind="box",
        label=_("Label of the box"),
        help_text=_("Stand at the box, look at its colour, and scan its label or type its code."),
    )


class FineMassField(MassField):
    """What may have been weighed on the finer scale; for the running sum it says so."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(required=False, **facts)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"data-on-scale": "fine_scale"}


class OutForm(ActionForm):
    scale = ScaleField()
    flake = MassField(label=_("Flake"))
    fine_scale = ScaleField(
        required=False,
        label=_("Scale for dust, purge and moisture"),
        help_text=_("Only if it is another one."),
    )
    dust = FineMassField(label=_("Dust"))
    purge = FineMassField(label=_("Purge"))
    moisture = FineMassField(
        label=_("Moisture driven off"),
        help_text=_("Only if it was weighed before and after drying."),
    )
    colour_change = forms.BooleanField(
        required=False,
        label=_("The colour changed; the purge is from cleaning out"),
        help_text=_("It then does not count as lost."),
    )
    minutes = forms.IntegerField(
        label=_("Minutes, cleaning included"), min_value=1, max_value=grinding.MINUTES_MAX
    )
    melt_flow = FigureField(
        required=False,
        label=_("Melt flow, g in 10 minutes"),
        min_value=0,
        max_value=1000,
        decimal_places=3,
    )
    melt_flow_tolerance = FigureField(
        required=False,
        label=_("Its tolerance, plus or minus"),
        min_value=0,
        max_value=1000,
        decimal_places=3,
    )

    def heaps(self) -> list[BoundField]:
        """Return the fields of what came out, in the order of the work."""
        return [self[name] for name in ("flake", "dust", "purge", "moisture")]

    def out(self) -> GrindOut:
        """Return the arguments of the rule."""
        data = dict(self.cleaned_data)
        del data["key"]
        flow, tolerance = data.pop("melt_flow"), data.pop("melt_flow_tolerance")
        return GrindOut(
            # Exact: Decimals with at most three places, so milligrams come out whole.
            melt_flow_mg_per_10min=None if flow is None else int(flow * 1000),
            melt_flow_tolerance_mg=None if tolerance is None else int(tolerance * 1000),
            **data,
        )


class ExplainForm(ActionForm):
    explanation = forms.CharField(
        label=_("Where the difference comes from"),
        max_length=200,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


@require_safe
@allow(BENCH, OWNER)
def box_list(request: StaffRequest) -> HttpResponse:
    return _boxes(request)


@require_POST
@allow(BENCH, OWNER)
def propose(request: StaffRequest, code: str) -> HttpResponse:
    """Propose to grind a box."""
    box = found(Place.objects.filter(kind=PlaceKind.BOX), code=code)
    form = ActionForm(request.POST)
    if done(request, form, grinding.propose, box=box):
        run = box_queries.open_run(box)
        if run is not None:
            return redirect("run", run.code)
        return redirect("boxes")
    return _boxes(request, form)


@require_safe
@allow(BENCH, OWNER)
def run(request: StaffRequest, code: str) -> HttpResponse:
    return _run_page(request, _run(code))


@require_POST
@allow(BENCH, OWNER)
def act(request: StaffRequest, code: str, action: str) -> HttpResponse:
    """Confirm, finish, explain or cancel a run."""
    if action not in _ACTIONS:
        raise NotFound()
    data, (slot, kind, rule) = _run(code), _ACTIONS[action]
    form = kind(request.POST)
    facts = _facts(form) if form.is_valid() else {}
    if done(request, form, rule, run=data, **facts):
        messages.success(request, _words(_run(code)))
        return redirect("run", data.code)
    return _run_page(request, data, {slot: form})


_ACTIONS: dict[str, tuple[str, Callable[..., ActionForm], Callable[..., Any]]] = {
    "confirm": ("seen_form", SeenForm, grinding.confirm),
    "finish": ("out_form", OutForm, regrind.finish),
    "explain": ("explain_form", ExplainForm, regrind.explain),
    "cancel": ("cancel_form", ActionForm, grinding.cancel),
}


def _facts(form: ActionForm) -> dict[str, Any]:
    if isinstance(form, OutForm):
        return {"out": form.out()}
    return {name: data for name, data in form.cleaned_data.items() if name != "key"}


def _words(data: GrindRun) -> str:
    return {
        GrindRun.State.PROPOSED: _t("Proposed."),
        GrindRun.State.CONFIRMED: _t("Confirmed. The box may be ground."),
        GrindRun.State.HELD: _t("Kept, but held: explain the figures below."),
        GrindRun.State.FINISHED: _t("Finished. The lot is in stock."),
        GrindRun.State.CANCELLED: _t("Cancelled. The box stays as it is."),
    }[GrindRun.State(data.state)]


def _run(code: str) -> GrindRun:
    rows = GrindRun.objects.select_related(
        "box__polymer", "box__colour", "lot", "proposed_by", "confirmed_by"
    )
    return found(rows, code=code)


def _boxes(request: StaffRequest, refused: ActionForm | None = None) -> HttpResponse:
    # One replay of the books for all boxes, not one for each.
    known = traced.of_material()
    shown: list[dict[str, Any]] = [
        {
            "it": inside,
            "known": known.get(inside.place.code),
            "origin": inside.place.get_origin_display(),
            "frames": regrind.frames_in(inside.place).count(),
            "run": box_queries.open_run(inside.place),
            # A form for each box on one page: each has a key and ids of its own.
            "form": ActionForm(auto_id=f"box{inside.place.pk}_%s"),
        }
        for inside in box_queries.boxes()
    ]
    runs = GrindRun.objects.select_related("box__colour", "lot")[:20]
    facts = {
        "boxes": [box for box in shown if box["it"].mass_mg or box["run"]],
        "empty_boxes": [box for box in shown if not (box["it"].mass_mg or box["run"])],
        "runs": runs,
        "refused": refused,
        "wide": True,
    }
    status = 422 if refused else 200
    return render(request, "returns/workroom/boxes.html", facts, status=status)


def _run_page(
    request: StaffRequest, data: GrindRun, tried: dict[str, Any] | None = None
) -> HttpResponse:
    state = GrindRun.State
    facts: dict[str, Any] = (
        {
            "run": data,
            "origin": data.box.get_origin_display(),
            "frames": regrind.frames_of(data)[:200],
            "is_proposed": data.state == state.PROPOSED,
            "is_confirmed": data.state == state.CONFIRMED,
            "is_held": data.state == state.HELD,
            "is_open": data.state in (state.PROPOSED, state.CONFIRMED),
            "is_mine": data.proposed_by_id == request.user.pk,
            "came_out": _came_out(data),
            "limit_ppm": Workshop.the().grind_loss_limit_ppm,
            "box_known": traced.of_place_at(data.box, data.box_movement),
            # What this person was shown goes along: the rule refuses when the box has changed
            # since.
            "seen_form": SeenForm(initial={"seen_mg": data.box_mg}, auto_id="seen_%s"),
            "out_form": OutForm(auto_id="out_%s", initial=scales.last(request)),
            "explain_form": ExplainForm(auto_id="explain_%s"),
            "cancel_form": ActionForm(auto_id="cancel_%s"),
        }
        | _trail(data)
        | (tried or {})
    )
    facts["refused"] = next(iter((tried or {}).values()), None)
    status = 422 if facts["refused"] else 200
    return render(request, "returns/workroom/run.html", facts, status=status)


_STATION = {"proposed": 0, "confirmed": 1, "held": 2, "finished": 3}


def _trail(data: GrindRun) -> dict[str, Any]:
    """Return a run's steps and where it stands; of a cancelled one what was done, and its end."""
    steps = [_t("Proposed"), _t("Confirmed"), _t("Ground"), _t("In stock")]
    if data.state == GrindRun.State.CANCELLED:
        steps = [*steps[: 2 if data.confirmed_at else 1], _t("Cancelled")]
    return {"stations": steps, "station": _STATION.get(data.state, len(steps) - 1)}


def _came_out(data: GrindRun) -> list[tuple[str, Reading]]:
    names = {
        "flake": _t("Flake"),
        "dust": _t("Dust"),
        "purge": _t("Purge"),
        "moisture": _t("Moisture driven off"),
    }
    readings = Reading.objects.in_bulk(data.readings.values())
    return [
        (words, readings[data.readings[name]])
        for name, words in names.items()
        if data.readings.get(name) in readings
    ]
