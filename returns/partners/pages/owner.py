"""The owner's partners: entered, given slips and a link, and the link taken back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import OWNER
from returns.models import Partner
from returns.partners import queries
from returns.partners import rules as partners
from returns.partners.pages import sheet_pdf

LINES_MAX = 400


class PartnerForm(ActionForm):
    name = forms.CharField(label=_("Name of the shop"), max_length=partners.NAME_LENGTH_MAX)
    town = forms.CharField(
        label=_("Town or city"), max_length=partners.TOWN_LENGTH_MAX, required=False
    )


class SheetForm(ActionForm):
    count = forms.IntegerField(
        label=_("How many slips"),
        min_value=partners.SHEET_SLIPS[0],
        max_value=partners.SHEET_SLIPS[-1],
        initial=8,
        help_text=_("Eight fit on a page."),
    )


def _by(number: int) -> Partner:
    found = Partner.objects.filter(pk=number).first()
    if found is None:
        raise NotFound()
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """List the partners, and enter one."""
    form = PartnerForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        facts = {name: form.cleaned_data[name] for name in ("name", "town")}
        made = form.attempt(partners.add, **facts, at=timezone.now(), by=request.user)
        if made is not None:
            return redirect("partner-one", made.pk)
    rows = Partner.objects.annotate(
        printed=Count("slips"), used=Count("slips__request"), here=Count("slips__arrived_at")
    )
    facts = {"form": form, "partners": rows}
    status = 422 if form.is_bound else 200
    return render(request, "returns/owner/partners.html", facts, status=status)


@require_safe
@allow(OWNER)
def one(request: StaffRequest, number: int) -> HttpResponse:
    """One partner: its link, its sheets and how its slips stand."""
    return _shown(request, _by(number), SheetForm())


def _shown(request: StaffRequest, partner: Partner, form: SheetForm) -> HttpResponse:
    lines = queries.lines(partner)
    facts = {
        "partner": partner,
        "form": form,
        "link": partners.page_link(partner),
        "renewing": ActionForm(auto_id="renew_%s"),
        "closing": ActionForm(auto_id="close_%s"),
        "lines": lines[:LINES_MAX],
        "sheets": sorted(Counter(line.sheet for line in lines).items(), reverse=True),
        "states": Counter(str(line.words) for line in lines).items(),
    }
    status = 422 if form.is_bound else 200
    answer = render(request, "returns/owner/partner.html", facts, status=status)
    answer["Cache-Control"] = "no-store"
    return answer


@require_POST
@allow(OWNER)
def sheet(request: StaffRequest, number: int) -> HttpResponse:
    """Make the slips of a sheet, and lead to where it can be printed."""
    partner, form = _by(number), SheetForm(request.POST)
    if form.is_valid():
        count = form.cleaned_data["count"]
        made = form.attempt(
            partners.print_sheet, partner=partner, count=count, at=timezone.now(), by=request.user
        )
        if made is not None:
            messages.success(
                request, _t("Sheet %(sheet)s is ready to be printed.") % {"sheet": made}
            )
            return redirect("partner-one", partner.pk)
    return _shown(request, partner, form)


@require_safe
@allow(OWNER)
def sheet_paper(request: StaffRequest, number: int, sheet: int) -> HttpResponse:
    """One sheet of slips as PDF."""
    del request
    partner = _by(number)
    slips = list(partner.slips.filter(sheet=sheet))
    if not slips:
        raise NotFound()
    answer = HttpResponse(sheet_pdf.make(partner, slips), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="slips-{partner.pk}-{sheet}.pdf"'
    answer["Cache-Control"] = "no-store"
    return answer


def _act(request: StaffRequest, number: int, rule: Callable[..., Any], said: str) -> HttpResponse:
    form, partner = ActionForm(request.POST), _by(number)
    if not form.is_valid():
        raise BadInput(_t("This form was incomplete. Open the page and press again."))
    rule(key=form.cleaned_data["key"], partner=partner, at=timezone.now(), by=request.user)
    messages.success(request, said)
    return redirect("partner-one", partner.pk)


@require_POST
@allow(OWNER)
def renew(request: StaffRequest, number: int) -> HttpResponse:
    """Another link; the one before opens nothing."""
    return _act(
        request, number, partners.renew_link, _t("The new link holds; the old one is dead.")
    )


@require_POST
@allow(OWNER)
def close(request: StaffRequest, number: int) -> HttpResponse:
    """Take the link back."""
    return _act(request, number, partners.close, _t("The link is revoked."))
