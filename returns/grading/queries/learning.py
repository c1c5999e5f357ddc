"""What the workshop's own outcomes say of each remedy. Reads only, two queries for all remedies.

A step counts for the odds once a bench check has judged it, and for the minutes once it is done.
The typed figures of the masters count as a stated number of earlier cases; without an outcome of
its own a remedy keeps them as they were typed. A failure of which nobody can tell the step is
shared by expectation-maximisation (`blame`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Final

from django.db.models import Count, Q, QuerySet, Sum

from returns.grading.sums import blame, evidence
from returns.grading.sums.evidence import Estimate
from returns.grading.sums.facts import PPM
from returns.models import JobStep, Remedy

WEIGHT: Final = evidence.WEIGHT_DEFAULT
LEVEL: Final = evidence.LEVEL_DEFAULT


@dataclass(frozen=True, slots=True)
class Tally:
    """The outcomes of one remedy: how many steps worked or failed, and how long they took.

    `shared` tries were in failures of which nobody can tell the step; `shared_failed` of them are
    expected to have failed, the others to have worked.
    """

    worked: int = 0
    failed: int = 0
    timed: int = 0
    minutes_total: int = 0
    shared: int = 0
    shared_failed: Fraction = Fraction(0)

    @property
    def judged(self) -> int:
        return self.worked + self.failed + self.shared

    @property
    def successes(self) -> Fraction:
        """Steps that worked, those of shared failures as expected."""
        return self.worked + self.shared - self.shared_failed

    @property
    def failures(self) -> Fraction:
        """Steps that failed, those of shared failures as expected."""
        return self.failed + self.shared_failed

    def odds(self, typed: Fraction) -> Fraction:
        """Return the mean odds, exactly: `typed` until a bench check has judged a step."""
        if not self.judged:
            return typed
        # The mean of a Beta (a, b) is a / (a + b): the typed odds count as WEIGHT cases beside the
        # own.
        shape = evidence.odds_posterior(typed, WEIGHT, self.successes, self.failures)
        return shape.a / (shape.a + shape.b)

    def minutes(self, typed: Fraction) -> Fraction:
        """Return the mean minutes, exactly, as `evidence.minutes` does, from the total alone."""
        return (WEIGHT * typed + self.minutes_total) / (WEIGHT + self.timed)

    def kept(self, remedy: Remedy) -> dict[str, Any]:
        """Return what a grading keeps of it, to work its odds and minutes out again."""
        return {
            "typed_odds_ppm": remedy.odds_ppm,
            "typed_minutes": remedy.minutes,
            "weight": int(WEIGHT),
            "worked": self.worked,
            "failed": self.failed,
            "timed": self.timed,
            "minutes_total": self.minutes_total,
        } | self._kept_of_shared()

    def _kept_of_shared(self) -> dict[str, Any]:
        if not self.shared:
            return {}
        return {"shared": self.shared, "shared_failed": float(self.shared_failed)}


NOTHING: Final = Tally()


@dataclass(frozen=True, slots=True)
class Learned:
    """One remedy for the owner's page. `minutes` is None when no time is known at all."""

    remedy: Remedy
    tally: Tally
    odds: Estimate
    minutes: Estimate | None


def tallies(remedies: Iterable[Remedy] | None = None) -> Mapping[int, Tally]:
    """Return tallies by the remedy's primary key; a remedy without an outcome is not in it.

    Those that share a failure with a remedy asked for are counted too: its share hangs on them.
    """
    failures, typed = _shared_failures()
    # A step that was noted by mistake says nothing of its remedy.
    steps = JobStep.objects.filter(withdrawn_at=None).exclude(worked=None, minutes=None)
    if remedies is not None:
        # Remedies of shared failures are read as well, for the shares of one depend on the odds of
        # the others.
        steps = steps.filter(remedy__in={*typed, *(remedy.pk for remedy in remedies)})
    return _with_shares(_alone(steps), failures, typed)


def _shared_failures() -> tuple[list[list[int]], dict[int, Fraction]]:
    """Find the remedies of each failure that nobody could place, and their typed odds."""
    rows = JobStep.objects.filter(withdrawn_at=None, worked=False).exclude(shared_check=None)
    failures: dict[int, list[int]] = {}
    typed: dict[int, Fraction] = {}
    # In a fixed order: floats summed in another order may differ in the last digits, and a grading
    # has to come out the same.
    for check, remedy, odds_ppm in rows.order_by("shared_check", "pk").values_list(
        "shared_check", "remedy", "remedy__odds_ppm"
    ):
        failures.setdefault(check, []).append(remedy)
        typed[remedy] = Fraction(odds_ppm, PPM)
    return list(failures.values()), typed


def _with_shares(
    alone: dict[int, Tally], failures: list[list[int]], typed: Mapping[int, Fraction]
) -> dict[int, Tally]:
    """Add to the verdicts that stand alone what each remedy bears of the shared failures."""
    records: dict[int, blame.Record] = {}
    for remedy, odds in typed.items():
        # Without outcomes the posterior is the prior itself, as two numbers of cases.
        prior = evidence.odds_posterior(odds, WEIGHT, 0, 0)
        own = alone.get(remedy, NOTHING)
        records[remedy] = blame.Record(float(prior.a), float(prior.b), own.worked, own.failed)
    found = blame.shares(records, failures).items()
    shared = {
        remedy: replace(alone.get(remedy, NOTHING), shared=tries, shared_failed=failed)
        for remedy, (tries, failed) in found
    }
    return alone | shared


def _alone(steps: QuerySet[JobStep]) -> dict[int, Tally]:
    rows = (
        steps.order_by()
        .values("remedy")
        .annotate(
            worked_count=Count("pk", filter=Q(worked=True)),
            # Shared failures are left out here; `_with_shares` adds what each remedy bears of them.
            failed_count=Count("pk", filter=Q(worked=False, shared_check=None)),
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
    """Return every remedy with its estimates, those in use first."""
    known = tallies()
    remedies = Remedy.objects.order_by("-active", "component_kind", "defect", "key")
    return [_learned(remedy, known.get(remedy.pk, NOTHING)) for remedy in remedies]


def _learned(remedy: Remedy, tally: Tally) -> Learned:
    odds = evidence.odds(
        default=Fraction(remedy.odds_ppm, PPM),
        successes=tally.successes,
        failures=tally.failures,
    )
    return Learned(remedy, tally, odds, _minutes(remedy, tally))


def _minutes(remedy: Remedy, tally: Tally) -> Estimate | None:
    if not remedy.minutes:
        return None
    # The count and the mean are all that the estimate takes from the single times.
    mean = Fraction(tally.minutes_total, tally.timed) if tally.timed else Fraction(0)
    return evidence.minutes(default=Fraction(remedy.minutes), observed=[mean] * tally.timed)
