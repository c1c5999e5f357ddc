"""How the owner's figures read: shares with their range and method, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.furniture.numbers import fixed
from inventory.furniture.wording import ppm
from inventory.wording import unbroken_factor
from returns.figures.circularity.queries.indicators import Indicator
from returns.figures.circularity.queries.judged import BOOKED, Judged, Missing
from returns.figures.circularity.sums.circularity import ShareInterval

# The sums speak in keys, so that they need no language; what a reader sees is looked up here.
METHODS = {
    "wilson": gettext_lazy("score interval for counts (Wilson), 95 %"),
    "exact": gettext_lazy("exact interval for counts (Clopper–Pearson), 95 %"),
    "propagation of weighing uncertainty": gettext_lazy("uncertainty of the weighings, k = 2"),
    BOOKED: gettext_lazy("booked masses, not all weighed: no range"),
    "simulation": gettext_lazy("simulated, 95 %"),
    "simulation of weighings, yield and counts": gettext_lazy(
        "simulated over weighings, yield and the count of frames, 95 %"
    ),
    "propagation of masses and unknown batches": gettext_lazy(
        "spread of the drawings' masses and of unknown batches, k = 2"
    ),
}
THINGS = {
    "sold units": gettext_lazy("sold units"),
    "units": gettext_lazy("frames"),
    "frames": gettext_lazy("frames"),
    "grind runs": gettext_lazy("grind runs"),
    "issues to moulding": gettext_lazy("issues to moulding"),
    "production batches": gettext_lazy("production batches moulded"),
    "components": gettext_lazy("components"),
    "failures": gettext_lazy("first returns"),
    "returns": gettext_lazy("returns"),
    "months": gettext_lazy("months"),
    "sale months": gettext_lazy("months of sale in a row"),
    "models": gettext_lazy("models"),
    "different spans": gettext_lazy("different ages at return"),
    "different failure spans": gettext_lazy("different ages at return"),
    "months with a forecast": gettext_lazy("months with a forecast"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One figure in words. `lacking` stands in its place when there is not enough evidence."""

    label: str
    meaning: str
    value: str = ""
    spread: str = ""
    basis: str = ""
    lacking: str = ""


def percent(share: float) -> str:
    """Return a share 0..1 as percent with one decimal, rounded half to even once, never broken."""
    # Rounded once, to whole millionths: a second rounding of a rounded figure may go the other way.
    return ppm(round(share * 1_000_000)).replace(" ", "\u00a0")


def share(label: str, meaning: str, judged: Judged, *, of: str, count: int | None = None) -> Shown:
    """Word a judged share; `of` names what its evidence counts, or what `count` counts instead."""
    if judged.share is None:
        return Shown(label=label, meaning=meaning, lacking=lacking(judged.missing))
    counted = judged.share.evidence if count is None else count
    return Shown(
        label=label,
        meaning=meaning,
        value=percent(judged.share.share),
        spread=_range(judged.share),
        basis=f"{counted} {of} · {method(judged.share.method)}",
    )


def indicator(
    label: str, meaning: str, found: Indicator, *, how: str = "", decimals: int = 2
) -> Shown:
    """Word a dimensionless figure."""
    if found.figure is None:
        return Shown(label=label, meaning=meaning, lacking=lacking(found.missing))
    return Shown(
        label=label,
        meaning=meaning,
        value=fixed(found.figure, decimals),
        spread=spread(found, decimals=decimals),
        basis=basis(found.evidence, found.of, how or found.method),
    )


def basis(evidence: int, of: str, how: str) -> str:
    """Say how many cases stand behind a figure, and how its range was made."""
    return f"{evidence} {thing_named(of)} · {method(how)}"


def spread(found: Indicator, *, decimals: int = 2) -> str:
    """Return the range of an indicator in words, empty where it has none."""
    if found.low is None or found.high is None:
        return ""
    # Compared as shown: limits that read alike would claim that there is no uncertainty at all.
    low, high = fixed(found.low, decimals), fixed(found.high, decimals)
    if low == high:
        return _("less than ± %(step)s") % {"step": fixed(10**-decimals, decimals)}
    return _("%(low)s to %(high)s") % {"low": low, "high": high}


def spread_words(found: Indicator) -> str:
    """Say what the range of the circularity indicator covers, and which life went into it."""
    if found.use is not None:
        return _("range of 95 %%, simulated; measured life %(use)s times the trade's") % {
            "use": fixed(found.use, 2)
        }
    if found.knows_life:
        return _("range of 95 %, simulated; life taken as the trade's while over half are out")
    return _("range of 95 %, simulated over collection and yield; too few returns for a mean life")


def lacking(missing: Missing | None) -> str:
    """Say that there is not enough evidence, with the count and the reason."""
    if missing is None:
        return _("Not enough evidence.")
    instance = thing_named(missing.of)
    # Translators need the sentence whole, so the thing counted is put in and not appended.
    counted = (
        ngettext(
            "Not enough evidence: %(have)s %(thing)s of the %(need)s needed.",
            "Not enough evidence: %(have)s %(thing)s of the %(need)s needed.",
            missing.have,
        )
        % {"have": missing.have, "need": missing.need, "thing": instance}
        if instance
        else _("Not enough evidence.")
    )
    return f"{counted} {missing.reason}" if missing.reason else counted


def thing_named(key: str) -> str:
    return str(THINGS.get(key, key))


def method(key: str) -> str:
    """Say how a range was made; its coverage factor stays on one line."""
    return unbroken_factor(str(METHODS.get(key, key)))


def _range(found: ShareInterval) -> str:
    low, high = percent(found.low), percent(found.high)
    if low != high:
        return _("%(low)s to %(high)s") % {"low": low, "high": high}
    return "" if found.method == BOOKED else _("less than ± 0.1 percentage points")
