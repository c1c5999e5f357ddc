"""Salvage: which part of a waiting donor is kept for which frame, row by row with the reason."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages import notices
from returns.bench.pages.attempts import done
from returns.bench.pages.finding import frame_by
from returns.grading.pages import wording
from returns.models import PartPromise
from returns.models.catalogue import ComponentKey
from returns.salvage import rules as salvaging
from returns.salvage.queries import donors as salvage
from returns.salvage.queries.donors import MonthSaving, Pair
from returns.salvage.rules import Match

REASONS = {
    "no-fitting-part": _("No donor that waits to be stripped has a part that fits."),
    "parts-better-used": _("The fitting parts help more frames elsewhere."),
}


class ApproveForm(ActionForm):
    """All hidden: the row says it in words."""

    donor = forms.CharField(max_length=40, widget=forms.HiddenInput)
    component = forms.ChoiceField(choices=ComponentKey.choices, widget=forms.HiddenInput)
    frame = forms.CharField(max_length=40, widget=forms.HiddenInput)


class WithdrawForm(ActionForm):
    donor = forms.CharField(max_length=40, widget=forms.HiddenInput)
    component = forms.ChoiceField(choices=ComponentKey.choices, widget=forms.HiddenInput)


@require_safe
@allow(BENCH, OWNER)
def page(request: StaffRequest) -> HttpResponse:
    return _page(request)


@require_POST
@allow(BENCH, OWNER)
def approve(request: StaffRequest) -> HttpResponse:
    """Keep the donor's part for the frame."""
    form = ApproveForm(request.POST)
    data: dict[str, Any] = {}
    if form.is_valid():
        given = form.cleaned_data
        donor, frame = frame_by(given["donor"]), frame_by(given["frame"])
        data["match"] = Match(donor=donor, component=given["component"], frame=frame)
    if done(request, form, salvaging.approve, **data):
        words = _t("Noted: the part is kept when the donor is stripped.")
        notices.done(request, words, undo=f"{reverse('salvage')}#promised")
        return redirect("salvage")
    return _page(request, form)


@require_POST
@allow(BENCH, OWNER)
def withdraw(request: StaffRequest) -> HttpResponse:
    """Take a promise back."""
    form = WithdrawForm(request.POST)
    data: dict[str, Any] = {}
    if form.is_valid():
        given = form.cleaned_data
        data = {"donor": frame_by(given["donor"]), "component": given["component"]}
    if done(request, form, salvaging.withdraw, **data):
        messages.success(request, _t("The promise is withdrawn."))
        return redirect("salvage")
    return _page(request, form)


def _page(request: StaffRequest, refused: ActionForm | None = None) -> HttpResponse:
    board = salvage.board()
    months = salvage.history(timezone.now())
    facts = {
        "board": board,
        "matched": [_matched(pair) for pair in board.pairs if pair.gift],
        "without": [_without(pair) for pair in board.pairs if not pair.gift],
        "promises": [_promise(one) for one in board.promises],
        "months": months,
        "total": _total(months),
        "take_off_minutes": salvage.TAKE_OFF_MINUTES,
        "refused": refused,
        "wide": True,
    }
    status = 422 if refused else 200
    return render(request, "returns/workroom/salvage.html", facts, status=status)


def _matched(pair: Pair) -> dict[str, Any]:
    gift, lack = pair.gift, pair.lack
    initial = {
        "donor": gift.donor.tag if gift else "",
        "component": lack.component,
        "frame": lack.frame.tag,
    }
    return _without(pair) | {
        "donor": gift.donor if gift else None,
        "form": ApproveForm(initial=initial, auto_id=f"{lack.frame.tag}_{lack.component}_%s"),
    }


def _without(pair: Pair) -> dict[str, Any]:
    return {
        "frame": pair.lack.frame,
        "what": wording.component(pair.lack.component),
        "part": pair.lack.part,
        "reason": REASONS.get(pair.reason, ""),
    }


def _promise(one: PartPromise) -> dict[str, Any]:
    initial = {"donor": one.donor.tag, "component": one.component}
    return {
        "it": one,
        "what": wording.component(one.component),
        "form": WithdrawForm(initial=initial, auto_id=f"{one.donor.tag}_{one.component}_%s"),
    }


def _total(months: list[MonthSaving]) -> dict[str, Any]:
    names = (
        *("frames", "several", "parts", "contested"),
        *("best", "in_order", "gained", "best_minor", "in_order_minor"),
    )
    total = {name: sum(getattr(month, name) for month in months) for name in names}
    return total | {"why_equal": _why_equal(total)}


def _why_equal(total: dict[str, int]) -> str:
    """Say why both orders helped as many frames, from what was played; "" where they did not."""
    if total["best"] != total["in_order"]:
        return ""
    if not total["contested"]:
        return _t(
            "No two frames wanted the same part at the same time, so the order was no matter."
        )
    return _t(
        "Parts wanted by more than one frame at the same time: %(contested)s. Frames that lacked "
        "more than one part: %(several)s. Even so the order made no difference."
    ) % {"contested": total["contested"], "several": total["several"]}
