"""One grading computed, and kept as JSON with every reason and figure that led to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import ceil, floor
from typing import Any, Final

from inventory import events
from inventory.errors import BadInput
from inventory.models import Workshop
from returns.figures.circularity.queries.judged import refusal_in_words
from returns.grading import sums as grading
from returns.grading.queries import facts as gradingfacts
from returns.grading.queries.facts import Offer, Seen
from returns.grading.sums.facts import PPM
from returns.models import Policy, ReturnedFrame

# Kept with each grading, so that a reader of older ones can tell which fields they lack.
VERSION: Final = 3
_FIELD_OF_ERROR: Final[Mapping[str, str]] = {"sound-with-findings": "found_sound"}


def compute(
    *, frame: ReturnedFrame, seen: Sequence[Seen], polymer: str, found_sound: bool
) -> tuple[grading.Grading, dict[str, Any]]:
    """Compute the grading, and what is kept of it. Reads only.

    Raises BadInput for facts that clash, naming the field where there is one.
    """
    policy = Policy.the()
    offered = gradingfacts.offers(frame, seen, policy)
    try:
        new_frame = gradingfacts.new_frame_cost(frame, policy)
        prices = gradingfacts.prices(frame, offered, policy, new_frame)
        stock = gradingfacts.stock_of(offered, frame.tag)
        limits = gradingfacts.limits(policy)
        facts = gradingfacts.frame_facts(frame, seen, polymer, found_sound=found_sound)
        graded = grading.grade(
            findings=gradingfacts.findings(seen),
            remedies=[offer.sums for offer in offered],
            prices=prices,
            stock=stock,
            frame=facts,
            limits=limits,
        )
    # The sums know nothing of Django; their refusal becomes one that a form or the API can show.
    except grading.GradingError as error:
        field = _FIELD_OF_ERROR.get(error.code, "")
        raise BadInput(refusal_in_words(error), field=field) from error
    # The facts are kept beside the answer. Prices and stock change, and a decision must stay
    # explainable by what it was made from.
    known = {
        "polymer": polymer,
        "found_sound": found_sound,
        "wish": frame.wish,
        "mends": frame.mends_before,
        "mass_mg": frame.reading.mass_mg,
        "material_mg": facts.mass_mg,
        "labour_minor_per_hour": prices.labour_minor_per_hour,
        "recovery_share_ppm": prices.recovery_share_ppm,
        "material_minor_per_kg": prices.material_minor_per_kg,
        "ceiling_ppm": policy.ceiling_ppm,
        # The figure itself is among the figures; this says where it is from.
        "new_frame": asdict(new_frame) if new_frame else None,
        "wall_mm": {piece: str(wall) for piece, wall in facts.wall_mm.items()},
        "stock": dict(stock.available),
        "currency": Workshop.the().currency,
    }
    thresholds = _thresholds(graded, offered, prices, facts.mass_mg)
    return graded, _kept(graded, offered) | {"tippings": thresholds, "facts": known}


def answer_of(kept: Mapping[str, Any]) -> str:
    """Return a fingerprint of the answer as it is shown: decision, reasons, plan, money.

    Two gradings with one fingerprint tell the bench to do the same, for the same cost.
    """
    # Not everything that is kept: alternatives or tipping points may move without changing what is
    # to be done.
    shown = ("outcome", "disposition", "reasons", "figures", "plan")
    return events.fingerprint({name: kept[name] for name in shown})


def _kept(graded: grading.Grading, offered: Sequence[Offer]) -> dict[str, Any]:
    by_key = {offer.sums.key: offer for offer in offered}
    return {
        "version": VERSION,
        "outcome": graded.outcome.value,
        "disposition": graded.disposition.value,
        "reasons": [_reason(reason) for reason in graded.reasons],
        "figures": asdict(graded.figures),
        "plan": _plan(graded.plan, by_key) if graded.plan else None,
        "alternatives": [_plan(plan, by_key) for plan in graded.alternatives],
        "refusals": [
            {
                "component": refusal.finding.component_key,
                "defect": refusal.finding.defect_key,
                "remedy": by_key[refusal.remedy.key].row.key,
                "name": by_key[refusal.remedy.key].row.name,
                "reason": _reason(refusal.reason),
            }
            for refusal in graded.refusals
        ],
    }


def _thresholds(
    graded: grading.Grading, offered: Sequence[Offer], prices: grading.Prices, mass_mg: int
) -> list[dict[str, Any]]:
    """Return where each number tips the decision; none where money did not decide."""
    if not graded.weighed:
        return []
    # Taking apart is paid by the hour too, so that the wage moves both sides of the comparison.
    strip_minutes = Workshop.the().strip_minutes
    weighing = grading.Weighing(graded.weighed, prices, mass_mg, strip_minutes)
    by_key = {offer.sums.key: offer for offer in offered}
    of_a_remedy = (grading.Number.MINUTES, grading.Number.ODDS_PPM)
    return [
        _threshold(one, by_key[one.subject] if one.number in of_a_remedy else None)
        for one in grading.thresholds(weighing, graded.weighed[0])
    ]


def _threshold(one: grading.Threshold, offer: Offer | None) -> dict[str, Any]:
    """One tipping point; minutes learned from what was done may be broken, to a tenth."""
    return {
        "number": one.number.value,
        "part": "" if offer else one.subject,
        "remedy": offer.row.key if offer else "",
        "name": offer.row.name if offer else "",
        "component": offer.piece if offer else "",
        "now": round(float(one.now), 1),
        "at": one.at,
        "then": one.then.value if one.then else None,
        "off_ppm": None if one.distance is None else round(one.distance * PPM),
    }


def _reason(reason: grading.Reason) -> dict[str, Any]:
    return {"key": reason.key, "params": dict(reason.params), "text": reason.text}


def _plan(plan: grading.Plan, by_key: Mapping[str, Offer]) -> dict[str, Any]:
    """A plan with the masters' own keys: `remedies` is what the bench does, once each."""
    return {
        "steps": [
            {
                "component": finding.component_key,
                "defect": finding.defect_key,
                "remedy": by_key[remedy.key].row.key,
            }
            for finding, remedy in plan.steps
        ],
        "remedies": [
            {
                "remedy": by_key[remedy.key].row.key,
                "name": by_key[remedy.key].row.name,
                "component": by_key[remedy.key].piece,
                "method": remedy.method,
                # Shown in whole minutes and rounded against mending, as the costs are: minutes up,
                # odds down.
                "minutes": ceil(remedy.minutes),
                "odds_ppm": floor(remedy.odds * PPM),
                "evidence": by_key[remedy.key].tally.kept(by_key[remedy.key].row),
                "parts": dict(remedy.parts),
            }
            for remedy in plan.remedies
        ],
        "parts": dict(plan.parts),
        "missing": dict(plan.missing),
        "minutes": ceil(plan.sums.minutes),
        "odds_ppm": plan.sums.odds_ppm,
        "labour_minor": plan.sums.labour_minor,
        "parts_minor": plan.sums.parts_minor,
        "success_postage_minor": plan.sums.success_postage_minor,
        "failure_minor": plan.sums.failure_minor,
        "expected_minor": plan.sums.expected_minor,
    }
