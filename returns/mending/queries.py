"""What the sums advise after a failed check: what is left to do, against giving up. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from returns.grading import sums as grading
from returns.grading.queries import facts, learning
from returns.grading.queries.facts import PIECE_OF, Offer, Seen
from returns.grading.queries.learning import NOTHING
from returns.grading.sums import allowed, fallback
from returns.grading.sums.costs import Costs, costs_for
from returns.grading.sums.facts import PPM
from returns.grading.sums.fallback import Advice, Ends, Fix, Place
from returns.grading.sums.plans import spares_minor
from returns.models import BenchCheck, Grading, JobStep, Policy, Remedy


@dataclass(frozen=True, slots=True)
class Way:
    """The advice on one job, with the remedy and the component of the fix that it names."""

    advice: Advice
    remedy: Remedy | None
    component: str


def advice(check: BenchCheck, live: Sequence[JobStep]) -> Way | None:
    """Return the cheaper way on after a check that failed; None where no step can have failed.

    What is on the frame holds by its learned odds, but for what the check says. A place may be
    mended by what was done there, or by any remedy that its findings allow and the bins have.
    """
    # What a check has found to hold is no place that could fail, and leaves the sums smaller.
    open_ = [step for step in live if step.worked is not True]
    suspects = [number for number, step in enumerate(open_) if step.worked is False]
    if not suspects:
        return None
    frame = check.job.frame
    grading_ = check.job.grading
    seen = [Seen(one.component, one.defect, one.measured_um) for one in grading_.findings.all()]
    offered = facts.offers(frame, seen, Policy.the())
    policy = Policy.the()
    prices = facts.prices(frame, offered, policy, facts.new_frame_cost(frame, policy))
    costs = costs_for(prices, facts.material_mg(frame))
    usable = _usable(grading_, offered, seen)
    learned = learning.tallies([step.remedy for step in open_])
    places = [
        _place(step, learned.get(step.remedy_id, NOTHING), usable, costs, prices) for step in open_
    ]
    # The costs that the grading itself compares, so that both advise by one measure.
    ends = Ends(float(costs.postage_out_minor), float(costs.failure_minor))
    belief = (
        fallback.named(places, suspects[0])
        if len(suspects) == 1
        else fallback.unnamed(places, suspects)
    )
    return _way(fallback.advise(places, belief, ends), open_, offered)


def _usable(kept: Grading, offered: Sequence[Offer], seen: Sequence[Seen]) -> list[Offer]:
    """The remedies that the limits allow on what was seen, and for which the parts are there."""
    frame = kept.frame
    polymer = kept.sums["facts"].get("polymer", grading.PolymerCheck.UNKNOWN)
    choices = allowed.choices(
        facts.findings(seen),
        [offer.sums for offer in offered],
        facts.frame_facts(frame, seen, polymer, found_sound=False),
        facts.limits(Policy.the()),
    )
    keys = {remedy.key for choice in choices for remedy in choice.remedies}
    stock = facts.stock_of(offered, frame.tag)
    return [
        offer
        for offer in offered
        if offer.sums.key in keys
        and all(stock.of(code) >= pieces for code, pieces in offer.sums.parts.items())
    ]


def _place(
    step: JobStep,
    tally: learning.Tally,
    usable: Iterable[Offer],
    costs: Costs,
    prices: grading.Prices,
) -> Place:
    """One step's place: how likely what was done there holds, and what can be done to it."""
    piece = PIECE_OF.get(step.component, step.component)
    here = [offer for offer in usable if offer.piece == piece]
    fixes = [
        Fix(
            offer.sums.key,
            float(costs.labour_minor(offer.sums.minutes) + spares_minor(offer.sums.parts, prices)),
            float(offer.sums.odds),
        )
        for offer in here
    ]
    odds = float(tally.odds(Fraction(step.remedy.odds_ppm, PPM)))
    # What was done here may be done again even where it is no offer of today, if it took no parts.
    if step.remedy_id not in {offer.row.pk for offer in here} and not step.parts_used:
        minutes = tally.minutes(Fraction(step.remedy.minutes))
        fixes.append(Fix(step.remedy.key, float(costs.labour_minor(minutes)), odds))
    return Place(str(step.pk), odds, tuple(fixes))


def _way(found: Advice, open_: Sequence[JobStep], offered: Iterable[Offer]) -> Way:
    if found.place is None or found.fix is None:
        return Way(found, None, "")
    step = next(one for one in open_ if str(one.pk) == found.place.key)
    rows = {offer.sums.key: offer.row for offer in offered}
    return Way(found, rows.get(found.fix.key, step.remedy), step.component)
