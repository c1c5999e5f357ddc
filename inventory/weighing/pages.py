"""A month's reconciliation in words: does it close, where not, which weighing, what to count."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.numbers import fixed
from inventory.ledger.queries import naming
from inventory.models import Place, Scale
from inventory.months.reports import headings
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import reconciled
from inventory.weighing.queries.reconciled import Flow, Reconciled
from inventory.weighing.queries.weighed_twice import FRAMES, FRAMES_IN_PART, Node
from inventory.weighing.sums.reconciliation import Knowledge

COUNTERS = frozenset({BENCH, OWNER})
MOVEMENTS_SHOWN = 8
P_LEAST = 0.001
KNOWLEDGE = {
    Knowledge.REDUNDANT: _("weighed and checked by others"),
    Knowledge.MEASURED_ONLY: _("weighed, checked by nothing"),
    Knowledge.OBSERVABLE: _("not weighed, but follows from the others"),
    Knowledge.UNOBSERVABLE: _("not weighed and cannot be told"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A stream in words; `movements` are the first few, `more` is how many are left out."""

    flow: Flow
    words: str
    source: str
    target: str
    knowledge: Any
    movements: tuple[int, ...]
    more: int


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where a count would help; `address` is empty for a reader who may not count."""

    words: str
    address: str


def shown(label: str, roles: frozenset[str]) -> dict[str, Any]:
    """Return what the month page needs. Only bench and owner are led to the count itself."""
    data = reconciled.of_month(label)
    nodes = {balance.node.key: balance.node for balance in data.balances}
    lines = {flow.name: _line(flow, nodes) for flow in data.flows}
    may_count = bool(roles & COUNTERS)
    return {
        "result": data,
        "chance": _chance(data),
        "balances": [(balance, node_words(balance.node)) for balance in data.balances],
        "suspects": _suspects(data, lines),
        "lines": list(lines.values()),
        "untested": _untested(data, roles),
        "scales": sorted({scale for flow in data.suspects for scale in flow.scales}),
        "recount": [_spot(place, label, may_count) for place in data.recount],
        "waiting": [_spot(place, label, may_count) for place in data.waiting],
    }


def _untested(data: Reconciled, roles: frozenset[str]) -> list[tuple[str, str]]:
    """Return the month's scales whose class stands in for a check, with where that is entered."""
    names = {scale for flow in data.flows for scale in flow.scales}
    rows = Scale.objects.filter(name__in=names).filter(
        Q(repeatability_ug=None) | Q(certificate=[], calibration_u_ug=None)
    )
    return [
        (row.name, reverse("admin:inventory_scale_change", args=[row.pk]) if OWNER in roles else "")
        for row in rows
    ]


def _suspects(data: Reconciled, lines: Mapping[str, Line]) -> list[tuple[str, list[Line]]]:
    """Return suspicious streams under the balance that each upsets most, worst balance first."""
    z_of = {balance.node.key: balance.z or 0.0 for balance in data.balances}
    words = {balance.node.key: node_words(balance.node) for balance in data.balances}
    found: dict[str, list[Line]] = {}
    for flow in data.suspects:
        ends = [end for end in (flow.source, flow.target) if end in z_of]
        found.setdefault(max(ends, key=lambda end: z_of[end]), []).append(lines[flow.name])
    return [(words[key], found[key]) for key in sorted(found, key=lambda key: -z_of[key])]


def node_words(node: Node) -> str:
    """Return the name of a balance in words."""
    if node.key == FRAMES:
        return _t("Frames that left, weighed in and out")
    if node.key == FRAMES_IN_PART:
        return _t("Frames that left with a part that nobody weighed")
    place = naming.words(node.place) if node.place else ""
    words = (
        _t("%(place)s, up to the count in movement %(number)s")
        if node.counted
        else _t("%(place)s, ground in movement %(number)s")
    )
    return words % {"place": place, "number": node.ended_by}


def _chance(data: Reconciled) -> str:
    if data.p is None:
        return ""
    if data.p < P_LEAST:
        # A figure such as 0.0 % would claim that the thing cannot happen. The empty mapping turns
        # the doubled sign into one.
        return _t("less than 0.1 %%") % {}
    return _t("%(percent)s %%") % {"percent": fixed(100 * data.p, 1)}


def _line(flow: Flow, nodes: Mapping[str, Node]) -> Line:
    kind, to = headings.KINDS.get(flow.kind, flow.kind), headings.PLACES.get(flow.to, flow.to)
    return Line(
        flow=flow,
        words=_t("%(kind)s: to %(place)s") % {"kind": kind, "place": to},
        source=node_words(nodes[flow.source]) if flow.source in nodes else _t("elsewhere"),
        target=node_words(nodes[flow.target]) if flow.target in nodes else _t("elsewhere"),
        knowledge=KNOWLEDGE[flow.knowledge],
        movements=flow.movements[:MOVEMENTS_SHOWN],
        more=max(0, len(flow.movements) - MOVEMENTS_SHOWN),
    )


def _spot(place: Place, label: str, may_count: bool) -> Spot:
    return Spot(naming.words(place), _count_address(place, label) if may_count else "")


def _count_address(place: Place, label: str) -> str:
    """Return the address of the count's form with place and reason filled in; a person decides."""
    try:
        address = reverse("stock-action", args=["count"])
    # The page belongs to the other room, which this one must not know: without it there is no link.
    except NoReverseMatch:
        return ""
    reason = _t("reconciliation of %(month)s") % {"month": label}
    return f"{address}?{urlencode({'place': place.pk, 'reason': reason})}"
