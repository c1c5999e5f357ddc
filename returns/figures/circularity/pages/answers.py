"""The owner's four questions, each answered in one plain sentence before any detail.

A sentence carries its figure, its range and how many cases stand behind it; where there are too
few, it says so and how many it takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture.wording import mass_kg, uncertainty_kg
from inventory.wording import unbroken_factor
from returns.figures.circularity.pages import shown, tables
from returns.figures.circularity.pages.shown import Shown
from returns.figures.circularity.queries.circularity import Circularity
from returns.figures.circularity.queries.flows import Weighed
from returns.figures.circularity.queries.grind_yields import GrindYields
from returns.figures.circularity.queries.indicators import Indicators
from returns.figures.circularity.queries.judged import Judged
from returns.figures.circularity.queries.reasons import Reasons
from returns.figures.circularity.queries.turnaround import Turnaround
from returns.figures.circularity.sums.circularity import counted_share
from returns.figures.claims.queries.claims_sheet import Line


def promise(days: Turnaround) -> str:
    if days.kept.share is None:
        return _("No frame was done in these months, so there is no promise to judge yet.")
    return _(
        "%(share)s of the frames were posted or taken apart on the promised day or before "
        "(range %(low)s to %(high)s, %(count)s frames)."
    ) % _words(days.kept)


def late(count: int) -> str:
    if not count:
        return _("No frame in the house is past its promised day.")
    return ngettext(
        "%(count)s frame in the house is past its promised day.",
        "%(count)s frames in the house are past their promised day.",
        count,
    ) % {"count": count}


def coming_back(found: Circularity) -> str:
    if found.take_back.share is None:
        return _("Sales are not known well enough yet to say what share comes back.")
    return _(
        "%(share)s of all frames sold have come back at least once "
        "(range %(low)s to %(high)s, %(count)s sold)."
    ) % _words(found.take_back)


def reason(why: Reasons) -> str:
    """Name the commonest finding, with its share of all findings."""
    if not why.total:
        return _("No frame was looked over in these months, so there are no reasons yet.")
    # Of equal counts the last key in the alphabet wins: any would do, but it must be the same each
    # time.
    seen, component, defect = max(
        (count, component, defect)
        for component, counts, _sum in why.rows
        for defect, count in zip(why.defects, counts, strict=True)
    )
    share = counted_share(count=seen, of=why.total)
    return _(
        "The commonest reason is “%(component)s: %(defect)s”: %(share)s of the findings "
        "(range %(low)s to %(high)s, %(count)s of %(total)s)."
    ) % {
        "component": tables.component_name(component),
        "defect": tables.defect_name(defect),
        "share": shown.percent(share.share),
        "low": shown.percent(share.low),
        "high": shown.percent(share.high),
        "count": seen,
        "total": why.total,
    }


def circular(found: Circularity) -> str:
    """Say how much of what was moulded came back from customers, and what was recovered."""
    if found.closed_loop.share is None:
        return _("Nothing was moulded from the stock in these months.")
    share = found.closed_loop.share
    facts = {
        "share": shown.percent(share.share),
        "low": shown.percent(share.low),
        "high": shown.percent(share.high),
        "count": found.content.issues,
        "mass": mass_kg(found.content.counted_mg),
    }
    # Mass that was booked and not weighed has no range, and a range of no width would claim
    # certainty.
    if share.low == share.high:
        return (
            ngettext(
                "%(share)s of the material moulded came from frames that customers returned "
                "(booked masses, so no range; %(count)s issue to moulding of %(mass)s).",
                "%(share)s of the material moulded came from frames that customers returned "
                "(booked masses, so no range; %(count)s issues to moulding of %(mass)s).",
                found.content.issues,
            )
            % facts
        )
    return (
        ngettext(
            "%(share)s of the material moulded came from frames that customers returned "
            "(range %(low)s to %(high)s; %(count)s issue to moulding of %(mass)s).",
            "%(share)s of the material moulded came from frames that customers returned "
            "(range %(low)s to %(high)s; %(count)s issues to moulding of %(mass)s).",
            found.content.issues,
        )
        % facts
    )


def may_say(lines: Sequence[Line]) -> str:
    good = sum(line.may_be_published for line in lines)
    if not good:
        return _("Nothing yet: the evidence is too thin for every sentence of the claims sheet.")
    return ngettext(
        "%(good)s of %(all)s sentences of the claims sheet has the evidence to be published.",
        "%(good)s of %(all)s sentences of the claims sheet have the evidence to be published.",
        good,
    ) % {"good": good, "all": len(lines)}


def _words(judged: Judged) -> dict[str, Any]:
    share = judged.share
    if share is None:
        return {}
    return {
        "share": shown.percent(share.share),
        "low": shown.percent(share.low),
        "high": shown.percent(share.high),
        "count": share.evidence,
    }


def of_returns(found: Circularity) -> list[Shown]:
    frames = _("frames")
    return [
        shown.share(
            _("Came back in these months"),
            _("Units that came back for the first time, of those that were out there."),
            found.take_back_in_span,
            of=_("units out there"),
        ),
        shown.share(
            _("Repair share"),
            _("Frames mended and posted, of all mended, boxed, sent back or discarded."),
            found.repair_share,
            of=frames,
        ),
    ]


def of_circularity(found: Circularity, more: Indicators, runs: GrindYields) -> list[Shown]:
    rows = [
        _recovered(found),
        shown.share(
            _("Recovery yield"),
            _("Flake out of the mass taken from boxes of returns. Boxes mix all models."),
            found.recovery_yield,
            of=_("grind runs"),
            count=len(runs.runs),
        ),
        shown.share(
            _("Recycled content"),
            _("Post-consumer material by mass of what was moulded (ISO 14021)."),
            found.recycled_content,
            of=_("issues"),
        ),
        _lives(more),
    ]
    missing = more.material_circularity.missing
    # The indicator is of one model: for the whole workshop the row is left out, not shown as
    # missing.
    if missing is None or missing.of != "models":
        rows.insert(0, _material_circularity(more))
    return rows


def scrap_back(found: Circularity) -> str:
    """Scrap that came back from moulding, with its ± or the word that it has none."""
    data = found.content.weighed["scrap_back"]
    if data.unweighed_mg:
        return f"{mass_kg(data.mass_mg)} ({_('not weighed')})"
    return f"{mass_kg(data.mass_mg)} {_expanded(data)}"


def _expanded(data: Weighed) -> str:
    # Milligrams to micrograms, rounded up: an uncertainty is never shown smaller than it is.
    return unbroken_factor(f"± {uncertainty_kg(ceil(data.expanded_mg * 1000))}, k = 2")


def _recovered(found: Circularity) -> Shown:
    return Shown(
        label=_("Recovered mass"),
        meaning=_("Frame material of returns put into the regrind boxes."),
        value=mass_kg(found.recovered.mass_mg),
        spread=_expanded(found.recovered) if found.recovered.mass_mg else "",
        basis=_("%(readings)s weighings; %(rest)s by subtraction")
        % {
            "readings": found.recovered.readings,
            "rest": mass_kg(found.recovered.unweighed_mg),
        },
    )


def _lives(more: Indicators) -> Shown:
    return shown.indicator(
        _("Mean number of lives"),
        _("Heat passes of the batches moulded in the span, by mass; an upper figure."),
        more.mean_lives,
    )


def _material_circularity(more: Indicators) -> Shown:
    return shown.indicator(
        _("Material circularity indicator"),
        _("0.1 is a wholly linear product, 1 a closed loop. From this model's own flows."),
        more.material_circularity,
        how=shown.spread_words(more.material_circularity),
    )
