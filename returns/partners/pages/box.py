"""One box with many owners' frames: scanned slip after slip, booked in one go."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScansField
from inventory.staff.queries import BENCH, OWNER
from returns.partners import rules as partners


class BoxForm(ActionForm):
    scans = ScansField(
        kind="Q",
        label=_("Slips in the box"),
        help_text=_("Scan them one after the other; each goes on a line of its own."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def book(request: StaffRequest) -> HttpResponse:
    """Book a partner's box; a slip's code may come with the address."""
    form = BoxForm(
        request.POST if request.method == "POST" else None,
        initial={"scans": request.GET.get("slip", "")[:60]},
    )
    if form.is_bound and form.is_valid():
        booked = form.attempt(
            partners.book_box, scans=form.cleaned_data["scans"], at=timezone.now(), by=request.user
        )
        if booked is not None:
            return redirect("parcel", booked.code)
    status = 422 if form.is_bound else 200
    return render(request, "returns/bench/partner_box.html", {"form": form}, status=status)
