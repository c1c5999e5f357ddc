"""Labels to print: PDFs opened in the browser."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet, Value
from django.db.models.functions import Replace
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.errors import NotFound
from inventory.furniture import wording
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.frame import roles
from inventory.ledger.queries import scanned
from inventory.ledger.sums.scans import bare
from inventory.models import Colour, Lot, Part, Place, PlaceKind, Workshop
from inventory.staff.queries import BENCH, OWNER
from returns.arriving import rules as arriving
from returns.bench.pages import labels
from returns.bench.pages.finding import frame_by, parcel_by
from returns.bench.pages.labels import Label
from returns.models import Parcel, ReturnedFrame

SHOWN_MAX = 100
RECENT_MAX = 5
SOUGHT_MAX = 12
SOUGHT_LENGTH_MAX = 60
TAGS_LENGTH_MAX = 400
_COLOURWAY = ("colourway__model", "colourway__colour")


def _answer(pdf: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(pdf, content_type="application/pdf")
    # Inline: the browser shows it, ready to print, and leaves no copy among the downloads.
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer


def printed(request: StaffRequest, made: Sequence[Label], name: str) -> HttpResponse:
    """Send single labels, or sheets of A4 with `?sheet=1`."""
    draw = labels.sheet_pdf if request.GET.get("sheet") else labels.labels_pdf
    return _answer(draw(made), name)


@require_safe
@allow(BENCH, OWNER)
def frame_label(request: StaffRequest, tag: str) -> HttpResponse:
    frame = frame_by(tag)
    return printed(request, [labels.of_frame(frame)], frame.tag)


@require_safe
@allow(BENCH, OWNER)
def parcel_label(request: StaffRequest, code: str) -> HttpResponse:
    parcel = parcel_by(code)
    return printed(request, [labels.of_parcel(parcel)], parcel.code)


@require_safe
@allow(BENCH, OWNER)
def parcel_tags(request: StaffRequest, code: str) -> HttpResponse:
    """Send the tags of every frame in a parcel."""
    parcel = parcel_by(code)
    rows = arriving.live_frames(parcel).select_related(
        "request", "colourway__model", "colourway__colour"
    )
    made = [labels.of_frame(frame) for frame in rows[: labels.LABELS_MAX]]
    return printed(request, made, f"{parcel.code}-tags")


@require_safe
@allow(BENCH, OWNER)
def tags_of(request: StaffRequest) -> HttpResponse:
    """Send the tags of the frames that the address names, in its order."""
    wanted = request.GET.get("tags", "").replace("\0", "")[:TAGS_LENGTH_MAX].split(",")
    rows = ReturnedFrame.objects.filter(tag__in=wanted[: labels.LABELS_MAX]).select_related(
        "request", "colourway__model", "colourway__colour"
    )
    found = {frame.tag: frame for frame in rows}
    made = [labels.of_frame(found[tag]) for tag in wanted if tag in found]
    if not made:
        raise NotFound()
    return printed(request, made, "tags")


@require_safe
@allow(BENCH, OWNER)
def box_label(request: StaffRequest, code: str) -> HttpResponse:
    boxes = Place.objects.filter(kind=PlaceKind.BOX, code=code)
    place = boxes.select_related("polymer", "colour").first()
    if place is None:
        raise NotFound()
    return printed(request, [labels.of_box(place)], "box-label")


@require_safe
@allow(BENCH, OWNER)
def lot_label(request: StaffRequest, code: str) -> HttpResponse:
    lot = Lot.objects.filter(code=code).select_related("polymer", "colour").first()
    if lot is None:
        raise NotFound()
    return printed(request, [labels.of_lot(lot)], "lot-label")


@require_safe
@allow(BENCH, OWNER)
def bin_label(request: StaffRequest, code: str) -> HttpResponse:
    part = scanned.part_of(code)
    if part is None:
        raise NotFound()
    return printed(request, [labels.of_bin(part)], "bin-label")


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
    return boxes.order_by("code")


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("polymer", "colour").order_by("-made_at")


_MADE: dict[str, Callable[[], list[Label]]] = {
    "boxes": lambda: [labels.of_box(box) for box in _boxes()[:SHOWN_MAX]],
    "bins": lambda: [labels.of_bin(part) for part in Part.objects.order_by("code")[:SHOWN_MAX]],
    "lots": lambda: [labels.of_lot(lot) for lot in _lots()[:SHOWN_MAX]],
}
_SHEETS = (
    ("boxes", _("All boxes on A4 sheets")),
    ("lots", _("All lots on A4 sheets")),
    ("bins", _("All bins on A4 sheets")),
)


@dataclass(frozen=True, slots=True)
class Printable:
    """A row of the labels page: what it is, the code or name on it, more words, its PDF."""

    kind: str | Promise
    name: str
    words: str
    path: str
    swatch: Colour | None = None


@require_safe
@allow(BENCH, OWNER)
def labels_page(request: StaffRequest) -> HttpResponse:
    """Offer the labels of what came last, or of what was looked for; and whole sheets."""
    # PostgreSQL refuses a NUL in a text; SQLite does not.
    sought = request.GET.get("q", "").replace("\0", "").strip()[:SOUGHT_LENGTH_MAX]
    facts = {
        "sought": sought,
        "rows": _sought(bare(sought)) if sought else _recent(),
        "sheets": [(what, words) for what, words in _SHEETS if _MADE[what]()],
        "size": Workshop.the(),
        "may_set_size": OWNER in roles(request),
    }
    return render(request, "returns/bench/labels.html", facts)


def _recent() -> list[Printable]:
    """Return what was made last and is still here, the newest of each kind first."""
    frames = _frames().filter(ended_at=None).order_by("-weighed_at")
    parcels = Parcel.objects.filter(done_at=None).order_by("-arrived_at")
    filled = _boxes().filter(balance__quantity__gt=0).order_by("-balance__quantity")
    found = (frames, parcels, _lots(), filled)
    return [_printable(row) for rows in found for row in rows[:RECENT_MAX]]


def _sought(text: str) -> list[Printable]:
    """Return what has the text in its code or name, whatever its kind. Dashes do not count."""
    dash, nothing = Value("-"), Value("")
    plain = text.replace("-", "").replace(" ", "")
    of_frames = _frames().alias(
        own=Replace("tag", dash, nothing), slip=Replace("request__reference", dash, nothing)
    )
    coded = Q(own__icontains=plain)
    found: tuple[QuerySet[Any], ...] = (
        of_frames.filter(coded | Q(slip__icontains=plain)).order_by("-weighed_at"),
        Parcel.objects.alias(own=Replace("code", dash, nothing))
        .filter(coded)
        .order_by("-arrived_at"),
        _lots()
        .alias(own=Replace("code", dash, nothing))
        .filter(coded | Q(colour__name__icontains=text)),
        _boxes().filter(Q(code__icontains=text) | Q(colour__name__icontains=text)),
        Part.objects.filter(Q(code__icontains=text) | Q(name__icontains=text)).order_by("code"),
    )
    return [_printable(row) for rows in found for row in rows[:SOUGHT_MAX]] if plain else []


def _frames() -> QuerySet[ReturnedFrame]:
    return ReturnedFrame.objects.select_related("request", *_COLOURWAY)


def _printable(row: Any) -> Printable:
    if isinstance(row, ReturnedFrame):
        path = reverse("frame-label", args=[row.tag])
        return Printable(_("frame"), row.tag, labels.of_frame(row).lines[0], path)
    if isinstance(row, Parcel):
        path = reverse("parcel-label", args=[row.code])
        return Printable(_("parcel"), row.code, wording.local(row.arrived_at), path)
    if isinstance(row, Part):
        return Printable(_("bin"), row.name, row.code, reverse("bin-label", args=[row.code]))
    name, colour = f"{row.polymer.code} · {row.colour.name}", row.colour
    origin = row.get_origin_display()
    if isinstance(row, Lot):
        words = f"{name}, {origin}"
        return Printable(_("lot"), row.code, words, reverse("lot-label", args=[row.code]), colour)
    return Printable(_("box"), name, origin, reverse("box-label", args=[row.code]), colour)


@require_safe
@allow(BENCH, OWNER)
def calibration(request: StaffRequest) -> HttpResponse:
    del request
    return _answer(labels.calibration_pdf(), "calibration")
