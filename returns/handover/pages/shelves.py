"""Shelf places: where a frame or a box stands, what lies on a shelf, and its label."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScanField
from inventory.ledger.queries import naming
from inventory.models import Place, PlaceKind
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages import labels
from returns.bench.pages.attempts import done, found
from returns.bench.pages.finding import frame_by
from returns.bench.pages.labelling import printed
from returns.handover import queries as handover
from returns.handover import sums
from returns.handover.rules import shelving
from returns.models import ReturnedFrame


class ShelfForm(ActionForm):
    shelf = ScanField(
        kind="shelf",
        required=False,
        label=_("Shelf place"),
        help_text=_("Scan the shelf's label or type its code, such as A3. Empty: on no shelf."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def of_frame(request: StaffRequest, tag: str) -> HttpResponse:
    frame = frame_by(tag)
    return _shelve(request, frame, tag, reverse("frame", args=[tag]))


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def of_box(request: StaffRequest, code: str) -> HttpResponse:
    boxes = Place.objects.filter(kind=PlaceKind.BOX).select_related("polymer", "colour", "lot")
    box = found(boxes, code=code)
    return _shelve(request, box, naming.words(box), f"{reverse('boxes')}#{code}")


def _shelve(
    request: StaffRequest, thing: ReturnedFrame | Place, name: str, back: str
) -> HttpResponse:
    subject = thing.tag if isinstance(thing, ReturnedFrame) else thing.code
    place = handover.place_of(subject)
    form = ShelfForm(request.POST if request.method == "POST" else None, initial=_initial(place))
    data: dict[str, Any] = {"shelf": form.cleaned_data["shelf"]} if form.is_valid() else {}
    if form.is_bound and done(request, form, shelving.put, thing=thing, **data):
        messages.success(request, _words(name, subject))
        return redirect(back)
    facts = {"form": form, "name": name, "place": place, "back": back}
    return render(
        request, "returns/handover/shelve.html", facts, status=422 if form.errors else 200
    )


def _initial(place: Any) -> dict[str, str]:
    return {"shelf": place.shelf if place else ""}


def _words(name: str, subject: str) -> str:
    place = handover.place_of(subject)
    if place is None:
        return _t("%(name)s is on no shelf now.") % {"name": name}
    return _t("%(name)s is on shelf %(shelf)s.") % {"name": name, "shelf": place.shelf}


@require_safe
@allow(BENCH, OWNER)
def shelves(request: StaffRequest) -> HttpResponse:
    """List every shelf that something waits on."""
    rows = [
        (shelf, handover.frames_on(shelf).count(), handover.boxes_on(shelf).count())
        for shelf in handover.shelves()[:200]
    ]
    return render(request, "returns/handover/shelves.html", {"rows": rows})


@require_safe
@allow(BENCH, OWNER)
def shelf(request: StaffRequest, code: str) -> HttpResponse:
    """Show what lies on a shelf now."""
    try:
        name = shelving.read(code)
    except BadInput as error:
        raise NotFound() from error
    facts = {
        "shelf": name,
        "frames": handover.frames_on(name)[:200],
        "boxes": handover.boxes_on(name)[:200],
    }
    return render(request, "returns/handover/shelf.html", facts)


@require_safe
@allow(BENCH, OWNER)
def shelf_label(request: StaffRequest) -> HttpResponse:
    """Send the label of a shelf; its scan is known as a shelf and fills in the place."""
    try:
        name = shelving.read(request.GET.get("shelf", ""))
    except BadInput as error:
        raise NotFound() from error
    made = labels.Label(name, (_t("Shelf place"),), sums.label(name))
    return printed(request, [made], "shelf-label")
