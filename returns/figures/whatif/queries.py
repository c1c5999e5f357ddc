"""What the simulation of the bench knows of this workshop: its frames of late, and its rates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db.models import Max

from inventory import clock
from inventory.models import Workshop
from returns.figures.circularity.queries.judged import Missing
from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.span.queries import Scope
from returns.figures.whatif import sums
from returns.figures.whatif.sums import CASES_MIN, Case, Outcome, Shop
from returns.grading.queries.facts import recovery_share_ppm
from returns.grading.sums.facts import PPM
from returns.models import Grading, JobStep, Policy
from returns.story.sums.states import ON_A_SHELF

LOOK_BACK_DAYS = 365
CASES_MAX = 2_000
OPEN_DAYS_A_WEEK = 5
MINUTES_A_DAY = 300
"""Bench minutes that one hand has for frames on an open day: five hours."""
SEED = 20_261_015


@dataclass(frozen=True, slots=True)
class Known:
    """The frames of the last year that were done, and the shop as it is."""

    cases: tuple[Case, ...]
    shop: Shop


@dataclass(frozen=True, slots=True)
class Compared:
    """The shop as it is and as it would be; or what is missing to say."""

    now: Outcome | None = None
    then: Outcome | None = None
    missing: Missing | None = None


def known(at: datetime, *, hands: int) -> Known:
    """Return what the last year tells. Four questions."""
    since = at - timedelta(days=LOOK_BACK_DAYS)
    workshop, policy = Workshop.the(), Policy.the()
    frames = Scope().frames().filter(weighed_at__gte=since, weighed_at__lt=at).order_by()
    # A frame in its box has not ended yet; what the bench does with it ended at its look-over.
    done = frames.exclude(state__in=ON_A_SHELF)
    latest = done.annotate(last=Max("gradings")).exclude(last=None)
    rows = latest.order_by("-weighed_at").values_list("last", "tag", "weighed_at", "ended_at")
    listed = list(rows[:CASES_MAX])
    graded = Grading.objects.in_bulk([last for last, _tag, _came, _ended in listed])
    minutes = _minutes_of_late(since)
    cases = tuple(
        case
        for last, _tag, came, ended in listed
        if (
            case := _case(
                graded[last], minutes, (came, ended or graded[last].at), workshop.strip_minutes
            )
        )
    )
    open_days = max(1.0, _days_open(frames, at) * OPEN_DAYS_A_WEEK / 7)
    costs = [case_prices(graded[last]) for last, *_rest in listed[:1]]
    new_frame, material = costs[0] if costs else (0, 0)
    shop = Shop(
        promise_days=max(1, workshop.promise_days) * OPEN_DAYS_A_WEEK / 7,
        returns_a_day=max(0.01, frames.count() / open_days),
        hands=hands,
        minutes_a_day=MINUTES_A_DAY,
        labour_minor_per_hour=workshop.labour_minor_per_hour,
        postage_minor=workshop.postage_out_minor,
        new_frame_minor=new_frame,
        ceiling=policy.ceiling_ppm / PPM,
        yield_share=recovery_share_ppm() / PPM,
        material_minor_per_kg=material,
    )
    return Known(cases, shop)


def compared(found: Known, changed: Shop) -> Compared:
    """Simulate the shop as it is, and as it would be, over the same draws."""
    try:
        settled = _settled(found)
        return Compared(
            sums.simulate(settled, found.shop, seed=SEED),
            sums.simulate(settled, changed, seed=SEED),
        )
    except NotEnoughEvidence as error:
        return Compared(missing=Missing.because(error))


@lru_cache(maxsize=8)
def _settled(found: Known) -> tuple[Case, ...]:
    if len(found.cases) < CASES_MIN:
        raise NotEnoughEvidence(of="frames", have=len(found.cases), need=CASES_MIN)
    return tuple(sums.without_queue(found.cases, found.shop, seed=SEED))


def case_prices(grading: Grading) -> tuple[int, int]:
    """Return what a new frame costs, and a kilogram of flake is worth, as a grading reckoned."""
    figures, facts = grading.sums.get("figures", {}), grading.sums.get("facts", {})
    return figures.get("new_frame_cost_minor", 0), facts.get("material_minor_per_kg", 0)


def _days_open(frames: Any, at: datetime) -> int:
    first = frames.order_by("weighed_at").values_list("weighed_at", flat=True).first()
    return max(1, (clock.day_of(at) - clock.day_of(first)).days) if first else LOOK_BACK_DAYS


def _minutes_of_late(since: datetime) -> Mapping[int, int]:
    """Return grading -> minutes that its mending really took, where they were noted."""
    steps = JobStep.objects.filter(
        withdrawn_at=None, minutes__isnull=False, job__opened_at__gte=since
    )
    found: dict[int, int] = {}
    for grading, minutes in steps.values_list("job__grading", "minutes"):
        found[grading] = found.get(grading, 0) + (minutes or 0)
    return found


def _case(
    grading: Grading,
    minutes: Mapping[int, int],
    times: tuple[datetime, datetime],
    strip_minutes: int,
) -> Case | None:
    """Return a frame as a case; None for one that neither was mended nor could be ground."""
    kept, (came, ended) = grading.sums, times
    plans = [plan for plan in (kept.get("plan"), *kept.get("alternatives", ())) if plan]
    plan = plans[0] if plans else None
    must = _must(grading, plan)
    if must is None:
        return None
    days = max(0, (clock.day_of(ended) - clock.day_of(came)).days)
    return Case(
        mend_minutes=float(minutes.get(grading.pk) or (plan or {}).get("minutes") or strip_minutes),
        strip_minutes=float(max(1, strip_minutes)),
        other_days=days * OPEN_DAYS_A_WEEK / 7,
        parts_minor=float((plan or {}).get("parts_minor", 0)),
        mass_mg=int(kept.get("facts", {}).get("material_mg") or 0),
        must=must,
    )


def _must(grading: Grading, plan: Mapping[str, Any] | None) -> str | None:
    """Return what a frame must become whatever money says; "" where money may decide."""
    if grading.decided == "hold":
        return None
    # Overruled by a person, or with nothing to mend it by: no price would have changed that.
    if grading.decided != grading.computed or plan is None:
        return str(grading.decided)
    return ""


def changed(shop: Shop, told: Mapping[str, float]) -> Shop:
    """Return the shop with what was told of it; promise in calendar days, shares as such."""
    return replace(
        shop,
        promise_days=told["promise_days"] * OPEN_DAYS_A_WEEK / 7,
        returns_a_day=shop.returns_a_day * told["returns"],
        hands=int(told["hands"]),
        pace=told["pace"],
        labour_minor_per_hour=told["labour_minor"],
        new_frame_minor=told["new_frame_minor"],
        ceiling=told["ceiling"],
    )
