"""Why frames come back: what was found, by component and defect, at each frame's last look."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, OuterRef, Subquery

from returns.figures.span.queries import Scope, Span
from returns.models import Finding, Grading
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey


@dataclass(frozen=True, slots=True, kw_only=True)
class Reasons:
    """Counts of findings: `counts[row][column]` for `components[row]` and `defects[column]`.

    Keys only; components and defects that were never seen are left out. `frames` is how many
    frames were looked over, with or without a finding.
    """

    frames: int
    components: tuple[str, ...]
    defects: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]

    @property
    def total(self) -> int:
        return sum(map(sum, self.counts))

    @property
    def rows(self) -> tuple[tuple[str, tuple[int, ...], int], ...]:
        """Component, its counts, their sum."""
        listed = zip(self.components, self.counts, strict=True)
        return tuple((component, counts, sum(counts)) for component, counts in listed)


def reasons(span: Span, scope: Scope) -> Reasons:
    """Count findings on frames last looked over in the span. Two questions to the database."""
    # The latest of all time, and the span asked of it afterwards: a frame looked over again later
    # belongs to that later span alone.
    latest = Grading.objects.filter(frame=OuterRef("frame")).order_by("-at", "-pk").values("pk")
    last = Grading.objects.filter(
        span.holds("at"),
        pk=Subquery(latest[:1]),
        frame__in=scope.frames().order_by(),
    ).order_by()
    rows = (
        Finding.objects.filter(grading__in=last)
        .order_by()
        .values_list("component", "defect")
        .annotate(count=Count("pk"))
    )
    seen = {(component, defect): count for component, defect, count in rows}
    components = tuple(key for key in ComponentKey.values if any(c == key for c, _d in seen))
    defects = tuple(key for key in DefectKey.values if any(d == key for _c, d in seen))
    return Reasons(
        frames=last.count(),
        components=components,
        defects=defects,
        counts=tuple(tuple(seen.get((c, d), 0) for d in defects) for c in components),
    )
