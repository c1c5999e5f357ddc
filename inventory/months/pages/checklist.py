"""The checks on the way to a closed month, each with what still stands in its way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from inventory.models import Movement
from inventory.months.queries.asked import last_asked
from inventory.months.queries.months import Reason
from inventory.months.queries.recovered import Report
from inventory.staff.queries import BENCH, OWNER


@dataclass(frozen=True, slots=True)
class Open:
    """A reason with the page where it is settled, "" for none; whose turn it is; when asked last.

    `is_bench` says that the bench settles it and may be asked to.
    """

    reason: Reason
    address: str
    is_bench: bool
    asked_at: datetime | None
    # For the form that asks: each shown form has a key of its own.
    key: UUID = field(default_factory=uuid4)


@dataclass(frozen=True, slots=True)
class Check:
    """One check, with what is still open about it."""

    label: Any
    open: list[Open] = field(default_factory=list)

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


# What only time or another month settles: nobody at the bench can.
_NOT_THE_BENCH = frozenset({"not-ended", "not-next", "nothing-booked", "does-not-tie-out"})


def checks(
    reasons: Sequence[Reason], report: Report, roles: frozenset[str], label: str
) -> list[Check]:
    """Return every check in order. Reasons of the other room's guard share one check.

    A reader who may not enter the bench is led to the movements of a code, where there are any.
    """
    known = frozenset[str]().union(*(codes for _label, codes in _CHECKS))
    asked = last_asked(label) if reasons else {}
    shown = [(reason, _open(reason, roles, asked)) for reason in reasons]
    listed = [
        Check(words, [one for reason, one in shown if reason.code in codes])
        for words, codes in _CHECKS
    ]
    # Whatever this room does not know by code: a guard that is added later still shows up.
    rest = [one for reason, one in shown if reason.code not in known]
    ties = [
        _open(Reason("does-not-tie-out", row), roles, {})
        for row in (*report.gaps, *report.unvalued)
    ]
    return [*listed, Check(_REST, rest), Check(_TIES, ties)]


def _open(reason: Reason, roles: frozenset[str], asked: Mapping[str, datetime]) -> Open:
    is_bench = bool(reason.subject) and reason.code not in _NOT_THE_BENCH
    return Open(reason, _address(reason, roles), is_bench, asked.get(reason.subject))


def _address(reason: Reason, roles: frozenset[str]) -> str:
    """Return where a reason is settled: another month's page, or whatever its code leads to."""
    if not reason.subject or reason.code == "place-below-zero":
        return ""
    if reason.code == "not-next":
        return reverse("month", args=[reason.subject])
    if roles & {BENCH, OWNER}:
        try:
            return reverse("go-code", args=[reason.subject])
        except NoReverseMatch:
            return ""
    # A list of nothing would be a dead end: what was not weighed yet has no movement.
    if not Movement.objects.filter(subject=reason.subject).exists():
        return ""
    return f"{reverse('movements')}?{urlencode({'subject': reason.subject})}"
