"""The checks on the way to a closed month, each with what still stands in its way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from inventory.months.queries.months import Reason
from inventory.months.queries.recovered import Report
from inventory.staff.queries import BENCH, OWNER


@dataclass(frozen=True, slots=True)
class Check:
    """One check; `open` pairs each reason with the page where it is settled, or with nothing."""

    label: Any
    open: list[tuple[Reason, str]] = field(default_factory=list)

    @property
    def done(self) -> bool:
        return not self.open


_CHECKS: tuple[tuple[Any, frozenset[str]], ...] = (
    (_("The month has ended"), frozenset({"not-ended"})),
    (_("Every month before it is closed"), frozenset({"not-next", "nothing-booked"})),
    (_("Grind runs are finished"), frozenset({"grind-run-open"})),
    (_("No place ends below zero"), frozenset({"place-below-zero"})),
)
_REST = _("Parcels and frames agree with the books")
_TIES = _("Every row ties out and every class has a value")


def checks(reasons: Sequence[Reason], report: Report, roles: frozenset[str]) -> list[Check]:
    """Return every check in order. Reasons of the other room's guard share one check.

    A reader who may not enter the bench is led to the movements of a code instead.
    """
    goes = "go-code" if roles & {BENCH, OWNER} else ""
    known = frozenset[str]().union(*(codes for _label, codes in _CHECKS))
    listed = [
        Check(label, [_linked(reason, goes) for reason in reasons if reason.code in codes])
        for label, codes in _CHECKS
    ]
    # Whatever this room does not know by code: a guard that is added later still shows up.
    rest = [_linked(reason, goes) for reason in reasons if reason.code not in known]
    ties = [(Reason("does-not-tie-out", row), "") for row in (*report.gaps, *report.unvalued)]
    return [*listed, Check(_REST, rest), Check(_TIES, ties)]


def _linked(reason: Reason, goes: str) -> tuple[Reason, str]:
    return reason, _address(reason, goes)


def _address(reason: Reason, goes: str) -> str:
    """Return where a reason is settled: another month's page, or whatever its code leads to."""
    if not reason.subject or reason.code == "place-below-zero":
        return ""
    if reason.code == "not-next":
        return reverse("month", args=[reason.subject])
    if not goes:
        return f"{reverse('movements')}?{urlencode({'subject': reason.subject})}"
    try:
        return reverse(goes, args=[reason.subject])
    except NoReverseMatch:
        return ""
