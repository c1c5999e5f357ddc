"""Where things lie, what is noted, what was photographed. Reads only."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q, QuerySet

from inventory.ledger.sums.scans import bare
from inventory.models import Place, PlaceKind
from returns.bench.queries.queue import WAITING
from returns.handover.sums import shelf as written
from returns.models import HandoverNote, ReturnedFrame, ShelfPlace

OPEN_MAX = 50


def places_of(subjects: Iterable[str]) -> dict[str, str]:
    """Return by tag or box code its shelf, in one question for all."""
    rows = ShelfPlace.objects.filter(subject__in=list(subjects))
    return dict(rows.values_list("subject", "shelf"))


def place_of(subject: str) -> ShelfPlace | None:
    return ShelfPlace.objects.filter(subject=subject).select_related("set_by").first()


def frames_on(shelf: str) -> QuerySet[ReturnedFrame]:
    """Return the frames that lie on a shelf and still wait; what has left is not told."""
    tags = ShelfPlace.objects.filter(shelf=shelf).values("subject")
    rows = ReturnedFrame.objects.filter(tag__in=tags, state__in=WAITING)
    return rows.select_related("colourway__model", "colourway__colour").order_by("tag")


def boxes_on(shelf: str) -> QuerySet[Place]:
    codes = ShelfPlace.objects.filter(shelf=shelf).values("subject")
    rows = Place.objects.filter(kind=PlaceKind.BOX, code__in=codes)
    return rows.select_related("polymer", "colour").order_by("code")


def known(typed: str) -> str:
    """Return the shelf that was typed or scanned, if anything lies or lay there; else ""."""
    try:
        shelf = written(bare(typed))
    except ValueError:
        return ""
    return shelf if ShelfPlace.objects.filter(shelf=shelf).exists() else ""


def shelves() -> list[str]:
    """Return every shelf that something waits on, in order."""
    return sorted(set(placed().values_list("shelf", flat=True)))


def placed() -> QuerySet[ShelfPlace]:
    """Return where each frame that waits and each box stands, as far as somebody said."""
    tags = ReturnedFrame.objects.filter(state__in=WAITING).values("tag")
    boxes = Place.objects.filter(kind=PlaceKind.BOX).values("code")
    return ShelfPlace.objects.filter(Q(subject__in=tags) | Q(subject__in=boxes))


def open_notes(frame: ReturnedFrame | None = None) -> list[HandoverNote]:
    """Return the notes that nobody has done, the oldest first; of one frame, or all."""
    rows = _notes().filter(done_at=None)
    return list((rows.filter(frame=frame) if frame is not None else rows)[:OPEN_MAX])


def all_notes() -> QuerySet[HandoverNote]:
    """Return every note, the newest first."""
    return _notes().order_by("-written_at", "-pk")


def _notes() -> QuerySet[HandoverNote]:
    return HandoverNote.objects.select_related("frame", "written_by", "done_by")
