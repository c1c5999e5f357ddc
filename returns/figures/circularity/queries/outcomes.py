"""What became of frames, by the ledger: mended, reground, sent back as they were, discarded.

Counted in the month in which the movement was booked, so that the figures agree with the month's
report; a movement that was reversed counts back in the month of its reversal.
"""

from __future__ import annotations

from collections import Counter

from django.db.models import Case, Count, Exists, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce

from inventory.models import Movement, PlaceKind, Posting
from returns.figures.span.queries import Scope
from returns.models import Dispatch

MENDED = "mended"
REGROUND = "reground"
AS_IS = "as_is"
DISCARDED = "discarded"
_NONE = ""


def outcomes(scope: Scope, *, first: str = "", last: str) -> Counter[tuple[str, str]]:
    """Count frames by (month, outcome), from month `first` (or the start) to `last`. One question.

    Lenses that go back to the wearer of a frame that was ground are no outcome of their own.
    """
    in_box = Q(target__kind=PlaceKind.BOX) | Q(source__kind=PlaceKind.BOX)
    boxed = Posting.objects.filter(in_box, movement=OuterRef("pk"))
    # A weigh-out's difference is a posting of this kind too, with a reason that somebody typed:
    # only what leaves the house counts.
    at_the_door = Q(target__kind=PlaceKind.WEARERS) | Q(source__kind=PlaceKind.WEARERS)
    left = Posting.objects.filter(at_the_door, movement=OuterRef("pk"))
    data = Movement.objects.filter(
        kind__in=["post_frame", "strip_down"],
        month__gte=first,
        month__lte=last,
        subject__in=Subquery(scope.frames().order_by().values("tag")),
    ).order_by()
    rows = (
        data.annotate(
            # A reversal's own reason says why it was reversed; what left is the reason of its
            # original.
            given_reason=Coalesce("reverses__reason", "reason"),
            outcome=Case(
                When(~Exists(left), kind="post_frame", then=Value(_NONE)),
                When(kind="post_frame", given_reason=Dispatch.Kind.MENDED, then=Value(MENDED)),
                When(kind="post_frame", given_reason=Dispatch.Kind.LENSES, then=Value(_NONE)),
                When(kind="post_frame", then=Value(AS_IS)),
                When(Exists(boxed), then=Value(REGROUND)),
                default=Value(DISCARDED),
            ),
        )
        .annotate(is_first=Q(reverses=None))
        .values_list("month", "outcome", "is_first")
        .annotate(movements=Count("pk"))
    )
    found: Counter[tuple[str, str]] = Counter()
    for month, outcome, is_first, movements in rows:
        if outcome != _NONE:
            found[month, outcome] += movements if is_first else -movements
    return found


def by_outcome(found: Counter[tuple[str, str]]) -> Counter[str]:
    """Return the same without the months; never below zero."""
    total: Counter[str] = Counter()
    for (_month, outcome), frames in found.items():
        total[outcome] += frames
    # The plus drops what is zero or below: a reversal of an earlier span's frame may come alone.
    return +total
