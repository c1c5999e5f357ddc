"""The decision itself: repair, regrind or hold, with its reasons and its sums.

Pure: the same facts always give the same grading. Limits are asked before money is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import Final

from inventory.wording import gettext_noop
from returns.grading.sums.allowed import Choice, Refusal, choices
from returns.grading.sums.costs import Costs, costs_for
from returns.grading.sums.facts import (
    Finding,
    FrameFacts,
    GradingError,
    Limits,
    PolymerCheck,
    Prices,
    Remedy,
    Stock,
    Wish,
)
from returns.grading.sums.plans import Plan, Search, search
from returns.grading.sums.wording import Reason, reason
from returns.story.sums.states import FrameState

FINDINGS_MAX: Final = 24
ALTERNATIVES_MAX: Final = 8


class Outcome(StrEnum):
    """The grade. Regrind means "not to be mended"; what then happens is the disposition."""

    REPAIR = "repair"
    REGRIND = "regrind"
    HOLD = "hold"


class Disposition(StrEnum):
    """What to do with the frame now. Only `GRIND` ever leads to the granulator."""

    MEND = "mend"
    GRIND = "grind"
    POST_BACK = "post_back"
    WAIT = "wait"
    SET_ASIDE = "set_aside"

    @property
    def frame_state(self) -> FrameState:
        """The state a frame takes when graded so."""
        return _STATE_BY_DISPOSITION[self]


_STATE_BY_DISPOSITION: Final = {
    Disposition.MEND: FrameState.TO_MEND,
    Disposition.GRIND: FrameState.TO_STRIP,
    Disposition.POST_BACK: FrameState.TO_RETURN,
    Disposition.WAIT: FrameState.HELD,
    Disposition.SET_ASIDE: FrameState.HELD,
}


@dataclass(frozen=True, slots=True)
class Figures:
    """The sums behind a grading, in minor units.

    `replacement_minor` = regrind + new frame + postage out - material credit. `expected_minor`,
    `break_even_odds_ppm` and `minutes_max` belong to the plan weighed, if any; the last is the
    most minutes within the ceiling. Postage in is spent either way and never decides.
    """

    new_frame_cost_minor: int
    regrind_cost_minor: int
    postage_out_minor: int
    postage_in_minor: int
    material_credit_minor: int
    replacement_minor: int
    ceiling_minor: int
    expected_minor: int | None = None
    break_even_odds_ppm: int | None = None
    minutes_max: int | None = None


@dataclass(frozen=True, slots=True)
class Grading:
    """The decision. `plan` is what to do or to wait for; `alternatives` were weighed as well.

    `weighed` holds every plan there is, the one whose sums decided first; none where a limit
    decided or the plans were too many to keep them all.
    """

    outcome: Outcome
    disposition: Disposition
    reasons: tuple[Reason, ...]
    figures: Figures
    plan: Plan | None = None
    alternatives: tuple[Plan, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    weighed: tuple[Plan, ...] = ()


@dataclass(frozen=True, slots=True)
class _Case:
    findings: tuple[Finding, ...]
    frame: FrameFacts
    limits: Limits
    costs: Costs
    figures: Figures


def grade(
    *,
    findings: Iterable[Finding],
    remedies: Iterable[Remedy],
    prices: Prices,
    stock: Stock,
    frame: FrameFacts,
    limits: Limits | None = None,
) -> Grading:
    """Decide what to do with a returned frame. Raises `GradingError` on facts that clash.

    1. Plastic that is not ours, an unknown model, or a frame nobody looked at is held.
    2. A finding that no remedy may answer, or too many mends before, rules mending out.
    3. The cheapest plan in stock within the ceiling is chosen; failing that, a plan within the
       ceiling that only lacks parts makes the frame wait.
    4. Otherwise the frame is not mended: ground, or posted back if the customer wished so.
    """
    found, offered = tuple(findings), tuple(remedies)
    limits = limits if limits is not None else Limits()
    _require_gradable(found, offered, prices, frame)
    costs = costs_for(prices, frame.mass_mg)
    case = _Case(found, frame, limits, costs, _figures(prices, costs))
    # In the order of the policy: identity first, limits next, money last. No sum of money can reach
    # a frame that a limit stops.
    early = _before_any_remedy(case)
    if early is not None:
        return early
    sorted_choices = choices(found, offered, frame, limits)
    refusals = tuple(refusal for choice in sorted_choices for refusal in choice.refusals)
    # The search would fail on a finding without a remedy, so limits are settled before it.
    graded = _without_money(case, sorted_choices) or _by_money(
        case, search(sorted_choices, prices, stock, costs)
    )
    return replace(graded, refusals=refusals)


def _require_gradable(
    findings: Sequence[Finding], remedies: Sequence[Remedy], prices: Prices, frame: FrameFacts
) -> None:
    if frame.found_sound and findings:
        raise GradingError(
            "sound-with-findings",
            gettext_noop("A frame with findings is not sound. Clear one of the two."),
        )
    if len(findings) > FINDINGS_MAX:
        raise GradingError(
            "too-many-findings",
            gettext_noop("Note the findings that matter most, at most %(most)s of them."),
            most=FINDINGS_MAX,
        )
    pairs = {(finding.component_key, finding.defect_key) for finding in findings}
    if len(pairs) != len(findings):
        raise GradingError("finding-twice", "Note each defect of a component once.")
    if len({remedy.key for remedy in remedies}) != len(remedies):
        raise GradingError("remedy-twice", "Each remedy needs a key of its own.")
    unpriced = {key for remedy in remedies for key in remedy.parts} - set(prices.part_minor)
    if unpriced:
        raise GradingError("part-unpriced", f"Set a price for {', '.join(sorted(unpriced))}.")


def _figures(prices: Prices, costs: Costs) -> Figures:
    return Figures(
        new_frame_cost_minor=prices.new_frame_cost_minor,
        regrind_cost_minor=prices.regrind_cost_minor,
        postage_out_minor=prices.postage_out_minor,
        postage_in_minor=prices.postage_in_minor,
        material_credit_minor=costs.material_credit_minor,
        replacement_minor=costs.replacement_minor,
        ceiling_minor=costs.ceiling_minor,
    )


def _before_any_remedy(case: _Case) -> Grading | None:
    frame = case.frame
    if frame.polymer is PolymerCheck.FOREIGN:
        return _foreign(case)
    if not frame.model_known:
        return _held(case, reason("model-unknown"))
    if case.findings:
        return None
    if not frame.found_sound:
        return _held(case, reason("nothing-noted"))
    return Grading(Outcome.REPAIR, Disposition.MEND, (reason("no-fault-found"),), case.figures)


def _foreign(case: _Case) -> Grading:
    reasons = [reason("foreign-polymer")]
    disposition = Disposition.SET_ASIDE
    if case.frame.wish is Wish.POST_BACK:
        disposition = Disposition.POST_BACK
        reasons.append(reason("post-back"))
    return Grading(Outcome.HOLD, disposition, tuple(reasons), case.figures)


def _held(case: _Case, *reasons: Reason) -> Grading:
    return Grading(Outcome.HOLD, Disposition.WAIT, reasons, case.figures)


def _without_money(case: _Case, sorted_choices: Sequence[Choice]) -> Grading | None:
    """Settle the cases in which a limit decides; None when money is left to decide."""
    if case.frame.mends >= case.limits.mends_max:
        used_up = reason("mends-used-up", mends=case.frame.mends, limit=case.limits.mends_max)
        return _not_mended(case, used_up)
    blocked = [why for choice in sorted_choices if (why := choice.blocked_because())]
    # A limit for good decides even where something else is unmeasured: no measure could save the
    # frame.
    for_good = [why for why in blocked if why.key != "needs-measuring"]
    if for_good:
        return _not_mended(case, *for_good)
    return _held(case, *blocked) if blocked else None


def _by_money(case: _Case, found: Search) -> Grading:
    bounded = (reason("search-bounded"),) if found.is_bounded else ()
    ceiling_minor = case.costs.ceiling_minor
    in_stock = [plan for plan in found.plans if not plan.missing]
    # The plans come cheapest first, so the first of each kind is the best of its kind.
    best = (in_stock or found.plans)[0]
    if in_stock and best.sums.expected_minor <= ceiling_minor:
        graded = _repaired(case, best)
    # Cheaper than anything in stock, but short of parts: worth the wait, as nothing in stock will
    # do.
    elif found.plans[0].sums.expected_minor <= ceiling_minor:
        best = found.plans[0]
        graded = _waiting(case, best)
    else:
        best = found.plans[0]
        graded = _too_dear(case, best)
    others = [plan for plan in found.plans if plan is not graded.plan]
    # The plan whose sums decided comes first; tipping points are those of that plan.
    weighed = (best, *(plan for plan in found.plans if plan is not best))
    return replace(
        graded,
        reasons=graded.reasons + bounded,
        figures=_weighed(case, best),
        alternatives=tuple(others[:ALTERNATIVES_MAX]),
        # Tipping points compare the plans again at other numbers, where a dropped one might have
        # won.
        weighed=weighed if found.is_whole else (),
    )


def _repaired(case: _Case, plan: Plan) -> Grading:
    within = reason(
        "cheapest-within-ceiling",
        expected=plan.sums.expected_minor,
        ceiling=case.costs.ceiling_minor,
    )
    reasons = (within, *_tips(case, plan, "minutes-tip"))
    return Grading(Outcome.REPAIR, Disposition.MEND, reasons, case.figures, plan)


def _waiting(case: _Case, plan: Plan) -> Grading:
    parts = ", ".join(f"{count} x {key}" for key, count in plan.missing.items())
    return replace(_held(case, reason("waiting-for-parts", parts=parts)), plan=plan)


def _too_dear(case: _Case, plan: Plan) -> Grading:
    over = reason(
        "over-ceiling",
        expected=plan.sums.expected_minor,
        ceiling=case.costs.ceiling_minor,
    )
    return _not_mended(case, over, *_tips(case, plan, "minutes-tip-over"))


def _tips(case: _Case, plan: Plan, minutes_key: str) -> tuple[Reason, ...]:
    weighed = _weighed(case, plan)
    tips = []
    if weighed.minutes_max is not None:
        tips.append(reason(minutes_key, minutes_max=weighed.minutes_max))
    if weighed.break_even_odds_ppm is not None:
        # To a tenth of a percent "from 0.0 % on" would be left, which is better said in words: at
        # any odds.
        percent = f"{Decimal(weighed.break_even_odds_ppm) / 10_000:.1f}"
        known = percent != "0.0"
        tips.append(reason("odds-tip", odds_percent=percent) if known else reason("any-odds"))
    return tuple(tips)


def _weighed(case: _Case, plan: Plan) -> Figures:
    return replace(
        case.figures,
        expected_minor=plan.sums.expected_minor,
        break_even_odds_ppm=case.costs.break_even_odds_ppm(plan.exact_mend_minor),
        minutes_max=case.costs.minutes_max(plan.sums.parts_minor, plan.odds),
    )


def _not_mended(case: _Case, *reasons: Reason) -> Grading:
    """Grind, post back, or hold: the one place that lets a frame towards the granulator."""
    frame, figures = case.frame, case.figures
    # Handing a frame back destroys nothing, so it needs no knowledge of the plastic.
    if frame.wish is Wish.POST_BACK:
        all_reasons = (*reasons, reason("post-back"))
        return Grading(Outcome.REGRIND, Disposition.POST_BACK, all_reasons, figures)
    # Grinding cannot be undone: without a recorded wish and a plastic known as ours a person looks
    # again.
    if frame.wish is None:
        return _held(case, *reasons, reason("wish-unknown"))
    if frame.polymer is not PolymerCheck.OURS:
        return _held(case, *reasons, reason("polymer-unknown"))
    foreign = tuple(
        reason("foreign-part", component=finding.component_key)
        for finding in case.findings
        if finding.defect_key in case.limits.foreign_defect_keys
    )
    return Grading(Outcome.REGRIND, Disposition.GRIND, (*reasons, *foreign), figures)
