"""Shares of what flowed in and out of the workshop (ISO 59020:2024), each with its range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from inventory.models import Origin, PlaceKind, Posting
from inventory.weighing.sums.weighing import Measured, expanded, total
from returns.figures.circularity.queries import flows
from returns.figures.circularity.queries.circularity import Circularity
from returns.figures.circularity.queries.judged import BOOKED, Missing
from returns.figures.circularity.sums import circularity as sums
from returns.figures.circularity.sums.circularity import FlowShare, ShareInterval
from returns.figures.circularity.sums.outflow_spread import (
    STREAMS,
    Fate,
    Stream,
    outflow_expanded_mg,
    outflow_limits,
)
from returns.figures.span.queries import Scope, Span
from returns.models import Dispatch

# Any number would do, but it must stay: the same books must show the same range on every
# reading.
SEED = 20_261_125
DRAWS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowTable:
    """Shares of a flow that sum to 100 %, with its total; or what is missing for it.

    `total_expanded_mg` is k = 2, None where some of the total was not weighed. `evidence` counts
    things of the kind `of`; `method` says how the ranges of the shares were made.
    """

    total_mg: int = 0
    total_expanded_mg: float | None = None
    shares: tuple[FlowShare, ...] = ()
    evidence: int = 0
    of: str = ""
    method: str = ""
    missing: Missing | None = None


def inflow(figures: Circularity) -> FlowTable:
    """Material issued to moulding (ISO 59020:2024 A.2.2 to A.2.4); own scrap is no inflow.

    The range is that of the weighings at the issue, as for the recycled content; what is linear is
    the rest of the whole. It does not cover whether a feedstock is what its supplier says.
    """
    content, recycled = figures.content, figures.recycled_content.share
    if content.counted_mg < 1 or recycled is None:
        return FlowTable(missing=Missing(of="issues to moulding", have=content.issues, need=1))
    shares = sums.inflow_shares(
        {"recycled": content.post_consumer_mg, "linear": content.virgin_mg},
        total_mg=content.counted_mg,
        not_applicable={
            "reused": _("Moulding takes in no reused parts."),
            "renewable": _("No feedstock is bought as sustainably grown."),
        },
    )
    weighed = content.weighed
    own_and_bought = flows.together([weighed[Origin.RETURN], weighed[Origin.FEEDSTOCK]])
    known = {"recycled": own_and_bought.stated_mg, "linear": weighed[Origin.VIRGIN].stated_mg}
    return FlowTable(
        total_mg=content.counted_mg,
        total_expanded_mg=weighed["counted"].stated_mg,
        shares=_ranged(shares, _inflow_limits(recycled), known),
        evidence=content.issues,
        of="issues to moulding",
        method=recycled.method,
    )


def _inflow_limits(recycled: ShareInterval) -> dict[str, tuple[float, float]]:
    if recycled.method == BOOKED:
        return {}
    return {
        "recycled": (recycled.low, recycled.high),
        "linear": (1 - recycled.high, 1 - recycled.low),
    }


def outflow(span: Span, scope: Scope, figures: Circularity) -> FlowTable:
    """Return what became of returned frames (ISO 59020:2024 A.3.3 to A.3.5), by mass.

    Reused: mended frames and lenses posted to their wearers, and salvaged parts. Recycled: box
    mass times the measured yield. The rest is linear, frames sent back as they were included.
    The range covers the weighings, the yield and the number of frames (see `outflow_limits`). It
    does not cover whether a posted frame is worn again, nor what is lost after the flake.
    """
    rows = flows.of_frames(span, scope).filter(movement__kind__in=_KINDS)
    recovered = figures.recovery_yield.share
    fates = _fates(rows)
    boxed_mg = sum(fate.boxed.mass_mg for fate in fates)
    if boxed_mg and recovered is None:
        return FlowTable(missing=Missing(of="grind runs", have=figures.runs, need=1))
    total_mg = sum(fate.mass_mg for fate in fates)
    if total_mg < 1:
        return FlowTable(missing=Missing(of="frames", have=0, need=1))
    reused_mg = sum(fate.reused.mass_mg for fate in fates)
    recycled_mg = round(boxed_mg * (recovered.share if recovered else 0))
    masses = {"reused": reused_mg, "recycled": recycled_mg}
    # By subtraction, so that the three shares fill the whole whatever the yield was rounded to.
    masses["linear"] = total_mg - reused_mg - recycled_mg
    why = {"biological": _("Plastic, glass and metal have no biological cycle.")}
    # Reversals of an earlier span's postings may outweigh what this span posted.
    if min(masses.values()) < 0:
        data = _("More was taken back in these months than went out.")
        return FlowTable(missing=Missing(of="", have=0, need=1, reason=data))
    shares = sums.outflow_shares(masses, total_mg=total_mg, not_applicable=why)
    between = (recovered.low, recovered.share, recovered.high) if recovered else None
    known = outflow_expanded_mg(fates, between)
    # What hangs on a yield of booked masses has no range either.
    is_booked = figures.recovery_yield.is_booked
    limits = {} if is_booked else _outflow_limits(fates, between)
    # What was reused is weighed on its own and keeps its ±; the two others have the yield in them.
    if is_booked:
        known = {"reused": known["reused"]}
    weighed = total(mass for fate in fates for mass in (fate.reused, fate.boxed, fate.rest))
    return FlowTable(
        total_mg=total_mg,
        total_expanded_mg=expanded(weighed.u_mg),
        shares=_ranged(shares, limits, known),
        evidence=sum(fate.frames for fate in fates),
        of="frames",
        method=BOOKED if is_booked else "simulation of weighings, yield and counts",
    )


def _outflow_limits(
    fates: Sequence[Fate], between: tuple[float, float, float] | None
) -> dict[str, tuple[float, float]]:
    """Return no limits where reversals left mass without a frame."""
    if sum(fate.frames for fate in fates) < 1:
        return {}
    return outflow_limits(fates, between, seed=SEED, draws=DRAWS)


def _ranged(
    shares: tuple[FlowShare, ...],
    limits: Mapping[str, tuple[float, float]],
    known: Mapping[str, float | None],
) -> tuple[FlowShare, ...]:
    """Put limits and ± to the shares; the limits never leave the booked share outside."""
    return tuple(
        replace(
            one,
            expanded_mg=known.get(one.category),
            # A simulated median need not be the booked share, and nobody believes a figure outside
            # its own range.
            low_percent=min(one.percent, 100 * limits[one.category][0]),
            high_percent=max(one.percent, 100 * limits[one.category][1]),
        )
        if one.category in limits
        else replace(one, expanded_mg=known.get(one.category))
        for one in shares
    )


_KINDS = ("post_frame", "strip_down")
_OUT_OF_DIFFERENCE = Q(movement__reverses=None, source__kind=PlaceKind.UNEXPLAINED) | Q(
    movement__reverses__isnull=False, target__kind=PlaceKind.UNEXPLAINED
)
_SETTLED = Q(source__kind=PlaceKind.UNEXPLAINED) | Q(target__kind=PlaceKind.UNEXPLAINED)
_STREAMS: dict[str, Stream] = {
    PlaceKind.WEARERS: "reused",
    PlaceKind.SALVAGE: "reused",
    PlaceKind.BOX: "boxed",
}
"""Where frames and parts go that count as used again or as ground; all else is the rest."""


def _fates(rows: QuerySet[Posting]) -> tuple[Fate, ...]:
    """Return frames mended, frames taken apart into a box, and others: sent back or discarded."""
    # `Exists` and not a join: a movement has several postings, and a join would repeat each of
    # them.
    at_the_box = Posting.objects.filter(
        Q(source__kind=PlaceKind.BOX) | Q(target__kind=PlaceKind.BOX), movement=OuterRef("movement")
    )
    marked = rows.annotate(has_box=Exists(at_the_box))
    mended, lenses = _posted_as(Dispatch.Kind.MENDED), _posted_as(Dispatch.Kind.LENSES)
    boxed = Q(movement__kind="strip_down", has_box=True)
    other = marked.exclude(mended | lenses | boxed)
    return (
        _fate("reused", marked.filter(mended), mended, _STREAMS),
        # The wearer's lenses are mass of a frame that was ground: they count as its mass, not as a
        # frame more.
        _fate("boxed", marked.filter(boxed | lenses), boxed, _STREAMS),
        _fate("rest", other, ~_SETTLED, {}),
    )


def _posted_as(kind: str) -> Q:
    """Select by what left. A posting's reason says so; a reversal's is that of its original."""
    return Q(movement__kind="post_frame") & (
        Q(movement__reverses=None, movement__reason=kind) | Q(movement__reverses__reason=kind)
    )


def _fate(goes: Stream, rows: QuerySet[Posting], counted: Q, streams: Mapping[str, Stream]) -> Fate:
    """Return one fate. Each frame has one movement: those `counted`, less those reversed."""
    # Distinct, because one movement has a posting for each place it fills.
    frames = rows.filter(counted).aggregate(
        forward=Count("movement", distinct=True, filter=Q(movement__reverses=None)),
        back=Count("movement", distinct=True, filter=Q(movement__reverses__isnull=False)),
    )
    masses: dict[Stream, list[Measured]] = {stream: [] for stream in STREAMS}
    for target, mass in flows.weighed_by_target(rows.exclude(_OUT_OF_DIFFERENCE)).items():
        masses[streams.get(target, "rest")].append(mass.measured)
    # It adds no mass. It lends the uncertainty of the weigh-in to what left without a weighing of
    # its own.
    masses["rest" if goes == "rest" else "reused"].append(_as_it_came(rows))
    return Fate(
        goes=goes,
        frames=max(0, frames["forward"] - frames["back"]),
        reused=total(masses["reused"]),
        boxed=total(masses["boxed"]),
        rest=total(masses["rest"]),
    )


def _as_it_came(rows: QuerySet[Posting]) -> Measured:
    """Return no mass, with the uncertainty of what left unweighed: that of the weigh-in."""
    unweighed = rows.filter(movement__reverses=None, reading=None).exclude(_SETTLED)
    came = Posting.objects.filter(
        movement__kind__in=("weigh_in", "join_part"),
        movement__subject__in=unweighed.values("movement__subject"),
    )
    return replace(flows.weighed(came.order_by(), target=PlaceKind.ARRIVALS).measured, mass_mg=0)
