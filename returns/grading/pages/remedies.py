"""What the workshop's own outcomes say of each remedy, beside what was typed for it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _t
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import allow
from inventory.staff.queries import OWNER
from returns.figures.circularity.pages.shown import percent
from returns.grading.queries import learning
from returns.grading.queries.learning import Learned
from returns.grading.sums.evidence import Estimate
from returns.models.catalogue import ComponentKind
from returns.models.remedies import DefectKey


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Per remedy: typed default, learned mean, interval, and how many outcomes."""
    rows = [_row(one) for one in learning.learned()]
    facts: dict[str, Any] = {
        "rows": rows,
        "weight": int(learning.WEIGHT),
        "level": round(100 * learning.LEVEL),
        "wide": True,
    }
    return render(request, "returns/owner/remedies.html", facts)


def _row(one: Learned) -> dict[str, Any]:
    remedy, tally = one.remedy, one.tally
    return {
        "it": remedy,
        "answers": f"{ComponentKind(remedy.component_kind).label}, "
        f"{DefectKey(remedy.defect).label}",
        "tally": tally,
        "worked": _count(tally.successes),
        "failed": _count(tally.failures),
        "typed_odds": percent(remedy.odds_ppm / 1_000_000),
        "odds": percent(float(one.odds.mean)) if tally.judged else "",
        "odds_range": _range(percent(one.odds.low), percent(one.odds.high)),
        "minutes": fixed(float(one.minutes.mean), 1) if one.minutes and tally.timed else "",
        "minutes_range": _minutes_range(one.minutes),
        "is_surprising": _is_outside(one.odds, remedy.odds_ppm / 1_000_000),
    }


def _count(cases: Fraction) -> str:
    """A number of cases, with a decimal where a failure is shared."""
    return str(cases) if cases.denominator == 1 else fixed(float(cases), 1)


def _is_outside(odds: Estimate, typed: float) -> bool:
    """Whether the typed odds lie outside what the outcomes leave likely."""
    # Without outcomes the interval is that of the typed odds alone, which cannot surprise.
    return odds.evidence_count > 0 and not odds.low <= typed <= odds.high


def _minutes_range(minutes: Estimate | None) -> str:
    return _range(fixed(minutes.low, 1), fixed(minutes.high, 1)) if minutes else ""


def _range(low: str, high: str) -> str:
    return _t("%(low)s to %(high)s") % {"low": low, "high": high}
