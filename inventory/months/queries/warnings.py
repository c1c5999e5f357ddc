"""What speaks against a month's figures without keeping it open: who closes it reads this first.

Each warning is acknowledged at the close, with a reason that is frozen with the month.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture import numbers
from inventory.ledger.queries import naming
from inventory.months.queries.months import Reason
from inventory.months.queries.recovered import Report
from inventory.weighing.queries import reconciled
from inventory.weighing.queries.reconciled import Balance, Reconciled
from inventory.weighing.sums.reconciliation import Verdict


def of_report(report: Report) -> list[Reason]:
    """Return every warning of a month, the weighings that disagree first."""
    return [*_disagreeing(reconciled.of_month(report.label)), *_scales(report), *_bare(report)]


def _disagreeing(found: Reconciled) -> Iterator[Reason]:
    if found.verdict == Verdict.DOES_NOT_CLOSE:
        text = _("Its weighings disagree by more than the scales explain.")
        yield Reason("weighings-disagree", text)
    for balance in found.balances:
        if balance.is_suspect:
            yield _suspect(balance)
    for frame in found.out_of_line:
        text = _("Frame %(tag)s: its own weighings disagree (z %(z)s).")
        shown = {"tag": frame.subject, "z": numbers.fixed(frame.z, 1)}
        yield Reason("frame-out-of-line", text % shown, frame.subject)


def _suspect(balance: Balance) -> Reason:
    place = balance.node.place
    shown = {
        "balance": capfirst(naming.words(place)) if place else _("Frames that left"),
        "number": balance.node.ended_by,
        "gap": numbers.mass_words(balance.gap_mg or 0),
        "z": "–" if balance.z is None else numbers.fixed(balance.z, 1),
    }
    text = _("%(balance)s, up to movement %(number)s: %(gap)s more in than out (z %(z)s).")
    return Reason("balance-does-not-close", text % shown, str(balance.node.key))


def _scales(report: Report) -> Iterator[Reason]:
    for scale, flag, count in report.flags:
        words = ngettext(
            "%(scale)s: an objection to %(count)s reading.",
            "%(scale)s: objections to %(count)s readings.",
            count,
        )
        yield Reason("scale-objection", words % {"scale": scale, "count": count}, flag)


def _bare(report: Report) -> Iterator[Reason]:
    count = report.trust.unweighed_postings
    if count:
        words = ngettext(
            "%(count)s credited posting has no reading of its own.",
            "%(count)s credited postings have no reading of their own.",
            count,
        )
        yield Reason("credit-without-reading", words % {"count": count})
