"""A frame's facts: where its mass lies, what was decided, done, and what is next. Reads only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Max, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from inventory.errors import StaleState
from inventory.models import Event, Movement, Place, PlaceKind, Posting
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings
from returns.bench.queries import in_hand
from returns.models import Grading, RepairJob, ReturnedFrame
from returns.story.sums.states import FrameState

SHELVES: Final = (PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH)
HISTORY_MAX: Final = 100


def whereabouts(tag: str) -> dict[Place, int]:
    """Return milligrams of a frame on each shelf or bench, by the movements of its tag."""
    rows = Posting.objects.filter(movement__subject=tag)
    held: dict[int, int] = {}
    # Two grouped sums, not one with both ends: a posting between two shelves belongs to both.
    for side, sign in (("target", 1), ("source", -1)):
        here = rows.filter(**{f"{side}__kind__in": SHELVES}).order_by()
        for place, total in here.values_list(side).annotate(total=Sum("quantity")):
            held[place] = held.get(place, 0) + sign * total
    places = Place.objects.in_bulk(held)
    return {places[pk]: mass_mg for pk, mass_mg in sorted(held.items()) if mass_mg > 0}


def boxed(found: Sequence[ReturnedFrame]) -> dict[str, MassUncertainty]:
    """Return by tag the uncertainty of the material put in a box, in one question for all."""
    masses = {frame.tag: frame.boxed_mg for frame in found if frame.boxed_mg}
    rows = Posting.objects.filter(
        movement__kind="strip_down",
        movement__subject__in=masses,
        movement__reverses=None,
        # A strip-down that was taken back does not speak for the frame any more.
        movement__reversed_by=None,
        target__kind=PlaceKind.BOX,
    )
    # Booked until a reading is found: mass without one has no uncertainty, which is not a small
    # one.
    data = {tag: MassUncertainty(booked_mg=mass_mg) for tag, mass_mg in masses.items()}
    # Of several heaps together: readings on one scale share its error.
    together: dict[str, MassWithReadings] = {}
    for posting in rows.exclude(reading=None).select_related("movement", "reading"):
        if posting.reading is not None:
            heap = MassWithReadings.of(readings.source(posting.reading))
            together.setdefault(posting.movement.subject, MassWithReadings()).add(heap)
    return data | {tag: mass.known() for tag, mass in together.items()}


@dataclass(frozen=True, slots=True)
class Story:
    """Everything about one frame, for its page."""

    frame: ReturnedFrame
    gradings: list[Grading]
    jobs: list[RepairJob]
    events: list[Event]
    movements: list[Movement]
    whereabouts: dict[Place, int]

    @property
    def latest(self) -> Grading | None:
        return self.gradings[0] if self.gradings else None


def story(frame: ReturnedFrame) -> Story:
    """Gather a frame's story, the newest first. Bounded."""
    gradings = Grading.objects.filter(frame=frame).select_related("by")
    jobs = frame.jobs.prefetch_related("steps__remedy", "checks").order_by("-opened_at")
    deeds = Event.objects.filter(subject=frame.tag).exclude(name__in=in_hand.WORDS)
    events = deeds.select_related("actor")
    movements = (
        Movement.objects.filter(subject=frame.tag)
        .select_related("reverses", "actor")
        # Each list is cut and fetched with what its rows show: the page costs the same for any
        # frame.
        .prefetch_related("postings__source", "postings__target")
    )
    return Story(
        frame=frame,
        gradings=list(gradings.prefetch_related("findings")[:HISTORY_MAX]),
        jobs=list(jobs[:HISTORY_MAX]),
        events=list(events.order_by("-at", "-pk")[:HISTORY_MAX]),
        movements=list(movements.order_by("-number")[:HISTORY_MAX]),
        whereabouts=whereabouts(frame.tag),
    )


def by_tag(tag: str) -> ReturnedFrame | None:
    """Return one frame with what its page shows beside it, or None."""
    return (
        ReturnedFrame.objects.filter(tag=tag)
        .select_related(
            "parcel",
            "request__person",
            "colourway__model",
            "colourway__colour",
            "colourway__polymer",
            "batch",
            "reading__scale",
            "box__polymer",
            "box__colour",
            "lot",
        )
        .prefetch_related("heaps__box__polymer", "heaps__box__colour", "heaps__lot")
        .first()
    )


def version_of(tag: str) -> int:
    """Which version of a frame's story this is: the number of its latest event, 0 before any.

    Read it before the frame itself: what is read after it is at least as new.
    """
    rows = Event.objects.filter(subject=tag).exclude(name__in=in_hand.WORDS)
    return rows.aggregate(latest=Max("pk"))["latest"] or 0


def versioned(rows: QuerySet[ReturnedFrame]) -> QuerySet[ReturnedFrame]:
    """The frames with their `version`, read in the one statement that reads the frame."""
    deeds = Event.objects.filter(subject=OuterRef("tag")).exclude(name__in=in_hand.WORDS)
    latest = deeds.order_by("-pk").values("pk")[:1]
    return rows.annotate(version=Coalesce(Subquery(latest), 0))


def refuse_older(tag: str, seen: int | None) -> None:
    """Refuse what was decided on an older version of a frame's story than today's.

    Call it once the frame's row is held, so that of two hands the slower sees what the faster
    did. None asks for no version: the caller has read and decided in one breath.

    Raises StaleState, whose facts hold the present `version`.
    """
    if seen is None or seen == (present := version_of(tag)):
        return
    raise StaleState(
        _(
            "Somebody has worked on this frame since you read it. Look at it as it is now, "
            "then decide again."
        ),
        version=present,
    )


# The one next step by state: the URL name of its page, whose argument is the tag.
NEXT_PAGE: Final[dict[str, str]] = {
    FrameState.WEIGHED: "frame-look",
    FrameState.HELD: "frame-look",
    FrameState.TO_MEND: "mend",
    FrameState.MENDING: "mend",
    FrameState.MENDED: "post-frame",
    FrameState.TO_STRIP: "strip",
    FrameState.TO_RETURN: "post-frame",
}


def plan_of(grading: Grading | None) -> dict[str, Any] | None:
    """Return the plan that a grading chose or waits for; None without one."""
    return grading.sums.get("plan") if grading is not None else None
