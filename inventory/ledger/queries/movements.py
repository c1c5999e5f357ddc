"""Finding movements, and one movement with everything that belongs to it. Reads only."""

from __future__ import annotations

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from inventory.errors import NotFound
from inventory.models import Movement, Place, Posting

# A place is shown in words, which need what it holds.
_PLACES = tuple(
    f"postings__{side}__{held}"
    for side in ("source", "target")
    for held in ("lot", "part", "polymer", "colour")
)


def found(*, month: str = "", kind: str = "", subject: str = "") -> QuerySet[Movement]:
    """Return movements, newest first; an empty filter filters nothing.

    Part of a code is enough, of the subject or of a place that the movement touches: a subject is
    shorter than the longest code of a box.
    """
    rows = Movement.objects.select_related("actor", "reverses", "reversed_by")
    if month:
        rows = rows.filter(month=month)
    if kind:
        rows = rows.filter(kind=kind)
    if subject:
        # A subquery and no join: a join would list a movement once for each posting that touches.
        rows = rows.filter(Q(subject__icontains=subject) | Q(pk__in=_touching(subject)))
    return rows.prefetch_related(*_PLACES).order_by("-number")


def _touching(code: str) -> QuerySet[Posting]:
    # Fetched first, for there are few places: the postings are then found by their indexed ends,
    # where a text search within the join would read every posting.
    places = list(Place.objects.filter(code__icontains=code).values_list("pk", flat=True))
    rows = Posting.objects.filter(Q(source__in=places) | Q(target__in=places))
    return rows.values("movement")  # type: ignore[return-value]


def numbered(number: int) -> Movement:
    """Return one movement with its postings and readings. Raises NotFound when there is none."""
    rows = Movement.objects.select_related("actor", "reverses", "reversed_by")
    movement = (
        rows.prefetch_related(*_PLACES, "postings__reading__scale").filter(number=number).first()
    )
    if movement is None:
        raise NotFound(_("There is no movement with this number."))
    return movement
