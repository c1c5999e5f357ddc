"""The stock room: what is there, and one page per action that moves it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.models import User
from django.db.models import Sum
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from inventory import clock
from inventory.counting import Counted
from inventory.errors import NotFound
from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, LateForm, MassField
from inventory.ledger.rules import late
from inventory.material.queries import boxes
from inventory.material.rules import material
from inventory.material.sums import heat
from inventory.material.sums.heat import HeatSpread
from inventory.models import Colour, Lot, Movement, Origin, Part, Place, PlaceKind
from inventory.parts import queries as parts
from inventory.parts import rules as stock
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import MassUncertainty
from returns.arriving.pages import scales
from returns.bench.pages import notices
from returns.bench.pages.attempts import done, focused
from returns.kits.rules import receiving
from returns.moulding import rules as batches
from returns.spoiling import rules as spoiling
from returns.stock.pages import forms

Rule = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class StockAction:
    """One page of the stock room: its words, its form, its rule."""

    title: Promise
    lead: Promise
    press: Promise
    form: Callable[..., Any]
    rule: Rule
    template: str = "returns/workroom/stock_action.html"


def _receive(*, into: str, **facts: Any) -> Movement | Lot:
    # Two rules and not one with a flag: they leave different things behind, a mass in a box or a
    # lot.
    return material.receive_to_box(**facts) if into == "box" else material.receive_as_lot(**facts)


def _open(*, into: str, **facts: Any) -> Movement | Lot:
    return material.open_box(**facts) if into == "box" else material.open_lot(**facts)


def _purge(*, colour: Colour | None, **facts: Any) -> Movement:
    # Two rules: a box is material that may be ground, waste is none.
    if colour is None:
        del facts["polymer"], facts["passes"]
        return material.waste_purge(**facts)
    left = material.Material(
        polymer=facts.pop("polymer"),
        colour=colour,
        origin=Origin.IN_PROCESS,
        heat=heat.of_passes(facts.pop("passes")),
        note=facts.pop("reason")[:120],
    )
    return material.keep_purge(material=left, **facts)


def _count_parts(
    *, key: UUID, part: Part, counted: int, reason: str, at: datetime, by: User
) -> Counted:
    # The rule calls the person `actor`, a form's attempt `by`.
    return stock.count(key=key, part=part, counted=counted, reason=reason, at=at, actor=by)


def _warn_of_promises(request: StaffRequest, part: Part) -> None:
    short = parts.promised(part) - parts.held(part)
    if short > 0:
        words = ngettext(
            "%(count)s piece of %(part)s is promised and was not found: those who wait for it will "
            "wait longer. Look again, or order.",
            "%(count)s pieces of %(part)s are promised and were not found: those who wait for them "
            "will wait longer. Look again, or order.",
            short,
        )
        messages.warning(request, words % {"count": short, "part": part.name})


ACTIONS: Final[dict[str, StockAction]] = {
    "feedstock": StockAction(
        _("Receive feedstock"),
        _("Bought-in material. Its origin is kept apart in every figure."),
        _("Receive it"),
        forms.FeedstockForm,
        _receive,
    ),
    "scrap": StockAction(
        _("Return scrap from moulding"),
        _("Sprues, short shots and rejects. They never count as recycled content."),
        _("Put it in its box"),
        forms.ScrapForm,
        spoiling.return_scrap,
    ),
    "spoiled": StockAction(
        _("Book spoiled pairs"),
        _("Pairs that were spoiled: the step, the cause, how many, and their mass together."),
        _("Book them"),
        forms.SpoiledForm,
        spoiling.book,
    ),
    "purge": StockAction(
        _("Purge and colour change"),
        _("What the press left between two colours. It is of no one colour any more."),
        _("Book it"),
        forms.PurgeForm,
        _purge,
    ),
    "issue": StockAction(
        _("Issue flake to moulding"),
        _("Scan the label of a lot, then weigh what you take from it."),
        _("Issue it"),
        forms.IssueForm,
        material.issue,
        "returns/workroom/issue.html",
    ),
    "mould": StockAction(
        _("Note a moulded batch"),
        _("Its material is what was issued under its code; moulding adds one heat pass."),
        _("Note it"),
        forms.MouldForm,
        batches.mould,
    ),
    "count": StockAction(
        _("Count material"),
        _("Weigh what is there. What differs from the ledger is posted as unexplained."),
        _("Take the count"),
        forms.CountForm,
        material.count,
    ),
    "opening": StockAction(
        _("Opening stock"),
        _("Only for what was there before this ledger began."),
        _("Enter it"),
        forms.OpeningForm,
        _open,
    ),
    "dispose": StockAction(
        _("Dispose of waste"),
        _("The stream is emptied whole. How waste is sorted and handed over, local rules say."),
        _("It was taken away"),
        forms.DisposeForm,
        material.dispose,
    ),
    "parts-receive": StockAction(
        _("Receive parts"),
        _("Kits that wait for these parts are set aside at once."),
        _("Put them in the bin"),
        forms.PartsForm,
        receiving.receive_parts,
    ),
    "parts-count": StockAction(
        _("Count parts"),
        _("Count the bin, promised pieces included."),
        _("Take the count"),
        forms.PartsCountForm,
        _count_parts,
    ),
}

# What a day at the bench asks for; the rest is folded below it.
MAIN: Final = ("issue", "mould", "feedstock", "parts-receive")


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def stock_room(request: StaffRequest) -> HttpResponse:
    """Show everything in stock at a glance."""
    stocked = parts.listed()
    # One replay of the books for all places, not one for each.
    known = traced.of_every_place()
    facts = {
        "lots": _lots(known),
        "boxes": [
            {"it": inside, "known": known.get(inside.place.code)}
            for inside in boxes.boxes()
            if inside.mass_mg
        ],
        "waste": [_waste_line(place, known) for place in _held(material.WASTE)],
        "salvage": [_waste_line(place, known) for place in _held({PlaceKind.SALVAGE})],
        "parts": stocked,
        "low": [one for one in stocked if one.is_low],
        "main": [(name, ACTIONS[name]) for name in MAIN],
        "more": [(name, page) for name, page in ACTIONS.items() if name not in MAIN],
        "wide": True,
    }
    return render(request, "returns/workroom/stock.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def stock_action(request: StaffRequest, action: str) -> HttpResponse:
    """Show one action's form and do it, then go back to the stock room."""
    # The name is part of the address: only what stands in the table is ever called.
    if action not in ACTIONS:
        raise NotFound()
    page = ACTIONS[action]
    form = (
        page.form(request.POST) if request.method == "POST" else page.form(initial=_hint(request))
    )
    if request.method == "POST" and done(request, form, late.telling(page.rule), **_facts(form)):
        notices.moved(request, _t("Done: %(action)s.") % {"action": page.title}, form)
        if action == "parts-count":
            _warn_of_promises(request, form.cleaned_data["part"])
        if action == "mould":
            # Its card is where the settings are noted while they are known.
            return redirect("batch", form.cleaned_data["code"].strip())
        return redirect("stock")
    refused = form if form.is_bound else None
    facts = {
        "form": focused(form),
        "action": page,
        "name": action,
        "refused": refused,
        "has_mass": any(isinstance(field, MassField) for field in form.fields.values()),
    }
    status = 422 if refused else 200
    return render(request, page.template, facts, status=status)


def _hint(request: StaffRequest) -> dict[str, Any]:
    """Return what a link on the stock page has chosen; a form ignores what it does not know."""
    # Never the key: a link must not be able to choose the id of an action.
    known = ("part", "place", "code", "batch_code", "reason")
    data = {
        name: data for name, data in request.GET.items() if name in known or name.startswith("lot-")
    }
    return scales.last(request) | {"made_on": _moulded_on(request.GET.get("code", ""))} | data


def _moulded_on(batch_code: str) -> date:
    """Return the day on which flake went to a batch, else today: most are entered the same day."""
    went = Movement.objects.filter(kind="issue", subject=batch_code).order_by("number").last()
    return clock.day_of(went.happened_at if went and batch_code else timezone.now())


def _facts(form: ActionForm) -> dict[str, Any]:
    if not form.is_valid():
        return {}
    data: dict[str, Any] = form.facts()  # type: ignore[attr-defined]
    # Where it goes chooses the rule and is no part of the material.
    if "into" in form.cleaned_data:
        data["into"] = form.cleaned_data["into"]
    # So does the day: what is told late is the same fact.
    if isinstance(form, LateForm):
        data |= {name: form.cleaned_data[name] for name in ("happened_on", "late_reason")}
    return data


def _lots(known: Mapping[str, MassUncertainty]) -> list[dict[str, Any]]:
    rows = Lot.objects.select_related("polymer", "colour", "place")
    # Summed in the query: asking each lot's place would be one question more a row.
    rows = rows.filter(place__balance__quantity__gt=0).annotate(
        held_mg=Sum("place__balance__quantity")
    )
    return [
        {
            "it": lot,
            "held_mg": lot.held_mg,
            "known": known.get(lot.place.code),
            "origin": lot.get_origin_display(),
            "passes": fixed(HeatSpread.from_list(lot.heat).mean_passes, 1),
        }
        for lot in rows.order_by("made_at", "code")[:200]
    ]


def _held(kinds: Iterable[PlaceKind]) -> list[Place]:
    rows = Place.objects.filter(kind__in=list(kinds), balance__quantity__gt=0)
    return list(rows.order_by("code"))


def _waste_line(place: Place, known: Mapping[str, MassUncertainty]) -> dict[str, Any]:
    return {"it": place, "mass_mg": boxes.held_mg(place), "known": known.get(place.code)}
