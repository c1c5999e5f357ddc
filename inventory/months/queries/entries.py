"""Postings as plain rows, each with the column of the report that it counts in."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.ledger.sums import recipes
from inventory.models import Place, Posting

MATERIAL_KINDS = frozenset({"box", "lot"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One posting of the month. `sign` is -1 in a reversal.

    `reason` is that of the movement itself, in a reversal that of what it reverses. `month` is the
    one it is booked in; a reversal has the number of what it undoes, and the month of that.
    """

    number: int
    line: int
    kind: str
    subject: str
    sign: int
    source: Place
    target: Place
    quantity: int
    reading_id: int | None
    cost_minor: int
    reason: str
    month: str
    reverses: int | None = None
    reverses_month: str | None = None

    @property
    def undoes_earlier(self) -> bool:
        """Whether the entry takes back what was booked in an earlier month."""
        return self.reverses_month is not None and self.reverses_month != self.month

    def column(self, place: Place) -> str | None:
        """Return the column that the entry counts in at one of its places; None without one."""
        there = self.source if place == self.target else self.target
        if place.kind not in recipes.COUNTED_BY_COLUMN:
            # By direction alone: at a shelf the two columns are all there is to say.
            return "in" if self.signed(place) > 0 else "out"
        try:
            return recipes.column(self.kind, place.kind, there.kind, place.origin)
        except LookupError:
            # The ledger refuses it, so somebody forced it into the database: its row will not tie.
            return None

    def signed(self, place: Place) -> int:
        """Return the quantity as `place` sees it: positive in, negative out."""
        return self.quantity if place == self.target else -self.quantity


# Plain rows and not objects: a month's report reads every posting, and the positions below hang on
# this order.
_FIELDS = (
    "movement__number",
    "line",
    "movement__kind",
    "movement__subject",
    "movement__reverses__number",
    "source",
    "target",
    "quantity",
    "reading",
    "movement__cost_minor",
    "movement__reverses__month",
    "movement__reason",
    "movement__reverses__reason",
    "movement__month",
)


def all_places() -> dict[int, Place]:
    """Return every place by id, with what its row in the report names."""
    rows = Place.objects.select_related("polymer", "colour", "lot", "part")
    return {place.pk: place for place in rows}


def places_of(rows: QuerySet[Posting]) -> dict[int, Place]:
    """Return the places that a few postings touch, by id."""
    ends = rows.order_by().values_list("source", "target").distinct()
    return Place.objects.in_bulk({pk for pair in ends for pk in pair})


def of_month(label: str, places: dict[int, Place]) -> tuple[Entry, ...]:
    """Return all postings booked in a month, in order of movement and line."""
    return read(Posting.objects.filter(movement__month=label), places)


def read(rows: QuerySet[Posting], places: dict[int, Place]) -> tuple[Entry, ...]:
    """Return postings as entries, in order of movement and line."""
    ordered = rows.order_by("movement__number", "line")
    return tuple(
        Entry(
            number=row[0],
            line=row[1],
            kind=row[2],
            subject=row[3],
            sign=1 if row[4] is None else -1,
            source=places[row[5]],
            target=places[row[6]],
            quantity=row[7],
            reading_id=row[8],
            cost_minor=row[9],
            reason=row[11] if row[4] is None else row[12],
            month=row[13],
            reverses=row[4],
            reverses_month=row[10],
        )
        for row in ordered.values_list(*_FIELDS)
    )
