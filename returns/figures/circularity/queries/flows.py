"""What the ledger moved in a span, summed by kind and places, with reversals taken back.

Four questions to the database, however long the span: sums come from it, not from rows.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil
from typing import Any

from django.db.models import (
    BooleanField,
    Case,
    Count,
    ExpressionWrapper,
    F,
    Q,
    QuerySet,
    Subquery,
    Sum,
    When,
)

from inventory.models import Posting
from inventory.models.weighing import period
from inventory.weighing.queries.readings import shared_ug as shared_of
from inventory.weighing.sums import weighing
from inventory.weighing.sums.traced import MassUncertainty
from returns.figures.span.queries import Scope, Span

COVERAGE_FACTOR = 2.0
# Grouped by, so that a sum never mixes movements with the reversals that take them back.
_IS_FIRST = ExpressionWrapper(Q(movement__reverses=None), BooleanField())


@dataclass(frozen=True, slots=True)
class Leg:
    """A kind of movement between two kinds of place; `origin` is that of the box or lot."""

    kind: str
    source: str
    target: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Flows:
    """Net milligrams per leg. A reversal counts as minus the leg that it takes back."""

    net_mg: dict[Leg, int]

    def total_mg(self, kind: str, *, source: str = "", target: str = "", origin: str = "") -> int:
        """Sum the milligrams over legs of a kind; an empty word stands for any."""
        return sum(
            mass_mg
            for leg, mass_mg in self.net_mg.items()
            if leg.kind == kind
            and source in ("", leg.source)
            and target in ("", leg.target)
            and origin in ("", leg.origin)
        )

    def by_target_mg(self, kind: str) -> dict[str, int]:
        """Net milligrams by the kind of place that a movement kind puts to."""
        found: Counter[str] = Counter()
        for leg, mass_mg in self.net_mg.items():
            if leg.kind == kind:
                found[leg.target] += mass_mg
        return dict(found)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A total with its uncertainty (k = 2), and what part of it no reading stands behind."""

    mass_mg: int
    expanded_mg: float
    readings: int
    unweighed_mg: int
    measured: weighing.Measured
    """The same mass with its uncertainty split by period, to be set against another mass."""

    @property
    def stated_mg(self) -> float | None:
        """Its expanded uncertainty; None where a part of it has none."""
        return None if self.unweighed_mg else self.expanded_mg

    @property
    def known(self) -> MassUncertainty:
        """The uncertainty in the form in which the books keep that of a mass they follow."""
        return MassUncertainty(ceil(self.expanded_mg * 1000), abs(self.unweighed_mg), self.readings)


NOTHING = Weighed(0, 0.0, 0, 0, weighing.Measured(0, 0.0, ()))


def postings(span: Span) -> QuerySet[Posting]:
    """Return the mass postings booked in a span."""
    first, last = span.labels
    return Posting.objects.filter(
        # Months are texts of one width, 2026-01, so that they compare as they follow each other.
        movement__month__gte=first,
        movement__month__lte=last,
        source__unit="mg",
    ).order_by()


def of_frames(span: Span, scope: Scope) -> QuerySet[Posting]:
    """Return the postings of the frames in a scope; the whole scope has strangers' frames too."""
    rows = postings(span)
    if scope.is_whole:
        return rows
    # A movement names its subject by the tag, not by a foreign key: the ledger knows no frames.
    return rows.filter(movement__subject__in=Subquery(scope.frames().order_by().values("tag")))


def of_batches(span: Span, scope: Scope) -> QuerySet[Posting]:
    """Return the postings of material issued to the batches in a scope."""
    rows = postings(span).filter(movement__kind="issue")
    if scope.is_whole:
        return rows
    return rows.filter(movement__subject__in=Subquery(scope.batches().order_by().values("code")))


def net(rows: QuerySet[Posting]) -> Flows:
    """Sum postings by leg, in one question."""
    grouped = (
        rows.annotate(is_first=_IS_FIRST)
        .values_list(
            "movement__kind",
            "is_first",
            "source__kind",
            "target__kind",
            "source__origin",
            "target__origin",
        )
        .annotate(total=Sum("quantity"))
    )
    found: Counter[Leg] = Counter()
    for kind, is_first, source, target, source_origin, target_origin, total in grouped:
        origin = source_origin or target_origin
        # A reversal runs the other way: its ends are swapped back, so that it meets the leg it
        # reverses.
        leg = Leg(kind, *((source, target) if is_first else (target, source)), origin)
        found[leg] += total if is_first else -total
    return Flows(dict(found))


def weighed(rows: QuerySet[Posting], *, source: str = "", target: str) -> Weighed:
    """Return the net mass that reached a kind of place, with the ± (k = 2) of its readings.

    What readings on one scale within one calibration period share adds up linearly, their own
    parts as root sum of squares (GUM 5.2.2). A reading that a reversal took back counts for
    nothing.
    """
    return _as_weighed(_by_period(rows, source, target))


def weighed_by_target(rows: QuerySet[Posting]) -> dict[str, Weighed]:
    """Return the net mass by the kind of place it reached, with its uncertainty as in `weighed`."""
    # Of a reversal the source is where the mass had gone.
    reached = Case(When(movement__reverses=None, then=F("target__kind")), default=F("source__kind"))
    listed = _grouped(rows.annotate(reached=reached))
    return {target: _as_weighed(found) for target, found in listed.items()}


def weighed_by_origin(rows: QuerySet[Posting]) -> dict[str, Weighed]:
    """Return the net mass out of boxes or lots by origin, with its uncertainty as in `weighed`."""
    origin = Case(
        When(movement__reverses=None, then=F("source__origin")), default=F("target__origin")
    )
    listed = _grouped(rows.annotate(reached=origin))
    return {key: _as_weighed(found) for key, found in listed.items()}


def together(several: Iterable[Weighed]) -> Weighed:
    """Return several masses as one; what they share on one scale adds up linearly."""
    listed = list(several)
    return _weighed(
        weighing.total(one.measured for one in listed),
        sum(one.readings for one in listed),
        sum(one.unweighed_mg for one in listed),
    )


def _as_weighed(grouped: Iterable[_Row]) -> Weighed:
    found, readings, unweighed_mg = _combined(grouped)
    return _weighed(found, max(0, readings), unweighed_mg)


def _weighed(found: weighing.Measured, readings: int, unweighed_mg: int) -> Weighed:
    expanded_mg = weighing.expanded(found.u_mg, COVERAGE_FACTOR)
    return Weighed(found.mass_mg, expanded_mg, readings, unweighed_mg, found)


def _grouped(rows: QuerySet[Posting]) -> dict[str, list[_Row]]:
    found: defaultdict[str, list[_Row]] = defaultdict(list)
    for reached, *row in _summed(rows, "reached"):
        found[reached].append(tuple(row))
    return found


_Row = tuple[Any, ...]


def _by_period(rows: QuerySet[Posting], source: str, target: str) -> Iterable[_Row]:
    """Return scale, check date, band of loads, no reversal?, mass, own parts squared, readings, and
    what is shared: common, drift, error and local parts."""
    forward = Q(movement__reverses=None, target__kind=target)
    back = Q(movement__reverses__isnull=False, source__kind=target)
    if source:
        forward &= Q(source__kind=source)
        back &= Q(target__kind=source)
    return _summed(rows.filter(forward | back))


def _summed(rows: QuerySet[Posting], *by: str) -> Iterable[Any]:
    own = F("reading__u_own_ug")
    return (
        rows.annotate(is_first=_IS_FIRST)
        .values_list(*by, "reading__scale", "reading__check_due", "reading__load_band", "is_first")
        .annotate(
            mass=Sum("quantity"),
            # Squared in the database: the readings of a span need not come over one by one.
            squares=Sum(own * own),
            count=Count("reading"),
            common=Sum("reading__u_shared_ug"),
            drift=Sum("reading__u_drift_ug"),
            error=Sum("reading__error_ug"),
            local=Sum("reading__u_local_ug"),
        )
    )


def _combined(grouped: Iterable[_Row]) -> tuple[weighing.Measured, int, int]:
    """Return mass, number of readings, and what part of the mass no reading stands behind."""
    mass_mg = readings = unweighed_mg = 0
    squares_ug2, shared_ug = 0, Counter[str]()
    for scale, check_due, band, is_first, mass, squares, count, *parts in grouped:
        sign = 1 if is_first else -1
        mass_mg += sign * mass
        readings += sign * count
        # Without a reading there is no scale to group by: booked mass, of which no uncertainty is
        # known.
        if scale is None:
            unweighed_mg += sign * mass
            continue
        # Own parts add as squares, shared ones linearly (GUM 5.2.2); a reversal takes its reading's
        # out again.
        squares_ug2 += sign * (squares or 0)
        common, drift, error, local = (part or 0 for part in parts)
        named = shared_of(period(scale, check_due), band or 0, (common, drift, error, local))
        for key, u_ug in named:
            shared_ug[key] += sign * u_ug
    found = weighing.Measured(
        mass_mg,
        # A reversal booked in this span may take back a reading of an earlier one: no root of less
        # than zero.
        max(0, squares_ug2) ** 0.5 / 1000,
        tuple((key, u_ug / 1000) for key, u_ug in sorted(shared_ug.items())),
    )
    return found, readings, unweighed_mg
