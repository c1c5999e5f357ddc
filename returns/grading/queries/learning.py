"""What the workshop's own outcomes say of each remedy. Reads only, one query for all remedies.

A step counts for the odds once a bench check has judged it, and for the minutes once it is done.
The typed figures of the masters count as a stated number of earlier cases; without an outcome of
its own a remedy keeps them as they were typed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from django.db.models import Count, Q, Sum

from returns.grading.sums import evidence
from returns.grading.sums.evidence import Estimate
from returns.grading.sums.facts import PPM
from returns.models import JobStep, Remedy

WEIGHT: Final = evidence.WEIGHT_DEFAULT
LEVEL: Final = evidence.LEVEL_DEFAULT


@dataclass(frozen=True, slots=True)
class Tally:
    """The outcomes of one remedy: how many steps worked or failed, and how long they took."""

    worked: int = 0
    failed: int = 0
    timed: int = 0
    minutes_total: int = 0

    @property
    def judged(self) -> int:
        return self.worked + self.failed

    def odds(self, typed: Fraction) -> Fraction:
        """The mean odds, exactly: `typed` until a bench check has judged a step."""
        if not self.judged:
            return typed
        shape = evidence.odds_posterior(typed, WEIGHT, self.worked, self.failed)
        return shape.a / (shape.a + shape.b)

    def minutes(self, typed: Fraction) -> Fraction:
        """The mean minutes, exactly: what `evidence.minutes` comes to, from the total alone."""
        return (WEIGHT * typed + self.minutes_total) / (WEIGHT + self.timed)

    def kept(self, remedy: Remedy) -> dict[str, Any]:
        """What a grading keeps of it, so that its odds and minutes can be worked out again."""
        return {
            "typed_odds_ppm": remedy.odds_ppm,
            "typed_minutes": remedy.minutes,
            "weight": int(WEIGHT),
            "worked": self.worked,
            "failed": self.failed,
            "timed": self.timed,
            "minutes_total": self.minutes_total,
        }


NOTHING: Final = Tally()


@dataclass(frozen=True, slots=True)
class Learned:
    """One remedy for the owner's page. `minutes` is None when no time is known at all."""

    remedy: Remedy
    tally: Tally
    odds: Estimate
    minutes: Estimate | None


def tallies(remedies: Iterable[Remedy] | None = None) -> Mapping[int, Tally]:
    """By the remedy's primary key; a remedy without an outcome is not in it."""
    steps = JobStep.objects.exclude(worked=None, minutes=None)
    if remedies is not None:
        steps = steps.filter(remedy__in=[remedy.pk for remedy in remedies])
    rows = (
        steps.order_by()
        .values("remedy")
        .annotate(
            worked_count=Count("pk", filter=Q(worked=True)),
            failed_count=Count("pk", filter=Q(worked=False)),
            timed_count=Count("minutes", filter=Q(done_at__isnull=False)),
            minutes_sum=Sum("minutes", filter=Q(done_at__isnull=False)),
        )
    )
    return {
        row["remedy"]: Tally(
            row["worked_count"], row["failed_count"], row["timed_count"], row["minutes_sum"] or 0
        )
        for row in rows
    }


def learned() -> list[Learned]:
    """Every remedy with its estimates, those in use first."""
    known = tallies()
    remedies = Remedy.objects.order_by("-active", "component_kind", "defect", "key")
    return [_learned(remedy, known.get(remedy.pk, NOTHING)) for remedy in remedies]


def _learned(remedy: Remedy, tally: Tally) -> Learned:
    odds = evidence.odds(
        default=Fraction(remedy.odds_ppm, PPM),
        successes=tally.worked,
        failures=tally.failed,
    )
    return Learned(remedy, tally, odds, _minutes(remedy, tally))


def _minutes(remedy: Remedy, tally: Tally) -> Estimate | None:
    if not remedy.minutes:
        return None
    # The count and the mean are all that the estimate takes from the single times.
    mean = Fraction(tally.minutes_total, tally.timed) if tally.timed else Fraction(0)
    return evidence.minutes(default=Fraction(remedy.minutes), observed=[mean] * tally.timed)
