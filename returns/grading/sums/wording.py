"""The reasons a grading gives: a stable key, parameters, and one plain English sentence.

Pages look the key up in their own catalogue and fall back on the sentence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

SENTENCES: Final[Mapping[str, str]] = {
    "no-fault-found": "Nothing is wrong with the frame: check it, clean it and post it back.",
    "nothing-noted": "No finding is noted. Look the frame over, or state that it is sound.",
    "foreign-polymer": "The plastic is not ours, so the frame never goes into our regrind box.",
    "foreign-part": "Take the foreign part off the {component} before the frame goes in the box.",
    "polymer-unknown": "The plastic is not identified. Identify it before the frame is ground.",
    "model-unknown": "The model is not known. Find it before choosing what to do.",
    "wish-unknown": "Ask the customer first: nothing is ground without a recorded wish.",
    "post-back": "The customer wants a frame that cannot be mended back as it is.",
    "mends-used-up": "The frame was mended {mends} times already; the limit is {limit}.",
    "no-remedy": "There is no remedy for {defect} on the {component}.",
    "no-allowed-remedy": "No remedy for {defect} on the {component} is allowed.",
    "needs-measuring": "Note what is missing for {defect} on the {component}, then grade again.",
    "banned-method": "The method {method} is never used for {defect}.",
    "beyond-measured-limit": "{defect} measures {measured_mm} mm; from {limit_mm} mm on only"
    " {allowed} remains.",
    "not-measured": "{defect} on the {component} is not measured, and {remedy} depends on it.",
    "severity-not-noted": "The severity of {defect} is not noted, and {remedy} depends on it.",
    "too-severe": "{remedy} is not for severity {severity}; it goes up to {limit}.",
    "tried-enough": "{remedy} was tried {times} times on this frame; the limit is {limit}.",
    "wall-not-measured": "The wall of the {component} is not measured, and {remedy} needs it.",
    "wall-too-thin": "The wall of the {component} is {wall_mm} mm; {remedy} needs {limit_mm} mm.",
    "waiting-for-parts": "Mending is worth it but parts are missing: {parts}.",
    "cheapest-within-ceiling": "Mending is expected to cost {expected} minor units, within the"
    " ceiling of {ceiling}.",
    "over-ceiling": "Mending is expected to cost {expected} minor units, over the ceiling of"
    " {ceiling}.",
    "minutes-tip": "Regrind would win over this plan if it took more than {minutes_max} minutes.",
    "minutes-tip-over": "This plan would win if it took {minutes_max} minutes or less.",
    "any-odds": "This plan is within the ceiling even if it hardly ever works.",
    "odds-tip": "This plan is within the ceiling if it works {odds_percent} % of the time.",
    "search-bounded": "There were too many plans to compare them all; the likeliest were kept.",
}


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a grading came out as it did. Money in `params` is in minor units."""

    key: str
    params: Mapping[str, str | int]

    @property
    def text(self) -> str:
        """The reason as one plain English sentence."""
        return SENTENCES[self.key].format(**self.params)


def reason(key: str, **params: str | int) -> Reason:
    """Make a reason; an unknown key or a missing parameter fails here, not on a page."""
    made = Reason(key, params)
    made.text  # noqa: B018  # forces the sentence to be filled in once
    return made
