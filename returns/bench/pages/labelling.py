"""Labels to print: PDFs opened in the browser."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.frame import roles
from inventory.ledger.queries import scanned
from inventory.models import Lot, Part, Place, PlaceKind, Workshop
from inventory.staff.queries import BENCH, OWNER
from returns.arriving import rules as arriving
from returns.bench.pages import labels
from returns.bench.pages.finding import frame_by, parcel_by
from returns.bench.pages.labels import Label

SHOWN_MAX = 100


def _answer(pdf: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(pdf, content_type="application/pdf")
    # Inline: the browser shows it, ready to print, and leaves no copy among the downloads.
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer


def _printed(request: StaffRequest, made: Sequence[Label], name: str) -> HttpResponse:
    """Send single labels, or sheets of A4 with `?sheet=1`."""
    draw = labels.sheet_pdf if request.GET.get("sheet") else labels.labels_pdf
    return _answer(draw(made), name)


@require_safe
@allow(BENCH, OWNER)
def frame_label(request: StaffRequest, tag: str) -> HttpResponse:
    frame = frame_by(tag)
    return _printed(request, [labels.of_frame(frame)], frame.tag)


@require_safe
@allow(BENCH, OWNER)
def parcel_label(request: StaffRequest, code: str) -> HttpResponse:
    parcel = parcel_by(code)
    return _printed(request, [labels.of_parcel(parcel)], parcel.code)


@require_safe
@allow(BENCH, OWNER)
def parcel_tags(request: StaffRequest, code: str) -> HttpResponse:
    """Send the tags of every frame in a parcel."""
    parcel = parcel_by(code)
    rows = arriving.live_frames(parcel).select_related(
        "request", "colourway__model", "colourway__colour"
    )
    made = [labels.of_frame(frame) for frame in rows[: labels.LABELS_MAX]]
    return _printed(request, made, f"{parcel.code}-tags")


@require_safe
@allow(BENCH, OWNER)
def box_label(request: StaffRequest, code: str) -> HttpResponse:
    boxes = Place.objects.filter(kind=PlaceKind.BOX, code=code)
    place = boxes.select_related("polymer", "colour").first()
    if place is None:
        raise NotFound()
    return _printed(request, [labels.of_box(place)], "box-label")


@require_safe
@allow(BENCH, OWNER)
def lot_label(request: StaffRequest, code: str) -> HttpResponse:
    lot = Lot.objects.filter(code=code).select_related("polymer", "colour").first()
    if lot is None:
        raise NotFound()
    return _printed(request, [labels.of_lot(lot)], "lot-label")


@require_safe
@allow(BENCH, OWNER)
def bin_label(request: StaffRequest, code: str) -> HttpResponse:
    part = scanned.part_of(code)
    if part is None:
        raise NotFound()
    return _printed(request, [labels.of_bin(part)], "bin-label")


@require_safe
@allow(BENCH, OWNER)
def sheet(request: StaffRequest, what: str) -> HttpResponse:
    """Send the labels of every box, every bin, or the latest lots, on sheets of A4."""
    del request
    made = _MADE[what]() if what in _MADE else []
    if not made:
        raise NotFound()
    return _answer(labels.sheet_pdf(made), f"{what}-sheet")


def _boxes() -> QuerySet[Place]:
    boxes = Place.objects.filter(kind=PlaceKind.BOX).select_related("polymer", "colour")
    return boxes.order_by("code")[:SHOWN_MAX]


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("polymer", "colour").order_by("-made_at")[:SHOWN_MAX]


def _parts() -> QuerySet[Part]:
    return Part.objects.order_by("code")[:SHOWN_MAX]


_MADE: dict[str, Callable[[], list[Label]]] = {
    "boxes": lambda: [labels.of_box(box) for box in _boxes()],
    "bins": lambda: [labels.of_bin(part) for part in _parts()],
    "lots": lambda: [labels.of_lot(lot) for lot in _lots()],
}


@require_safe
@allow(BENCH, OWNER)
def labels_page(request: StaffRequest) -> HttpResponse:
    """Offer the labels of boxes, lots and bins, and the calibration print."""
    facts = {
        "boxes": _boxes(),
        "lots": _lots(),
        "parts": _parts(),
        "size": Workshop.the(),
        "may_set_size": OWNER in roles(request),
    }
    return render(request, "returns/bench/labels.html", facts)


@require_safe
@allow(BENCH, OWNER)
def calibration(request: StaffRequest) -> HttpResponse:
    del request
    return _answer(labels.calibration_pdf(), "calibration")
