"""Closing a month: in order, after its end, when nothing dangles. What is closed never changes.

The database refuses further movements in a closed month; the ledger books what turns up late in
the first open month and notes where it belongs.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import deeds
from inventory.errors import MonthClosed, MonthNotReady
from inventory.ledger.queries import balances
from inventory.models import Counter, Month, MonthBalance, Movement, Place, Posting
from inventory.months.queries import months, recovered
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import Known, frozen_known

if TYPE_CHECKING:
    from django.contrib.auth.models import User

_MOVEMENT = (
    "number",
    "kind",
    "subject",
    "happened_at",
    "belongs_to",
    "reverses__number",
    "reason",
    "cost_minor",
    "actor_id",
    "heat",
)
_POSTING = (
    "movement__number",
    "line",
    "source__code",
    "target__code",
    "quantity",
    "reading__typed",
    "reading__mass_mg",
    "reading__scale_id",
)


@transaction.atomic
def close(*, key: UUID, label: str, at: datetime, by: User | None) -> Month:
    """Close a month. A repeat under the same `key` returns the month already closed.

    Raises:
        NotFound: the label names no month.
        MonthClosed: it is closed already, or a later one is.
        MonthNotReady: `facts["reasons"]` lists what dangles, each as "code: text".
    """
    facts = ["close", label]
    if deeds.repeated(key=key, name="months.close", facts=facts):
        return Month.objects.get(label=label)
    months.parsed(label)
    _hold_the_numbers()
    if Month.objects.filter(label__gte=label).exists():
        raise MonthClosed(_("%(month)s is closed already.") % {"month": label})
    _refuse_unready(label, at)
    month = _write(label, at, by)
    deeds.record(
        key=key,
        name="months.close",
        subject=label,
        facts=facts,
        at=at,
        actor=by,
        detail={"digest": month.digest, "last_number": month.last_number},
    )
    return month


def _hold_the_numbers() -> None:
    """Every movement takes its number from this row first, so none can slip in while we close."""
    Counter.objects.get_or_create(name="movement")
    Counter.objects.select_for_update().get(name="movement")


def _refuse_unready(label: str, at: datetime) -> None:
    found = months.reasons(label, at)
    if found:
        message = _("%(month)s cannot be closed yet: %(first)s")
        raise MonthNotReady(
            message % {"month": label, "first": found[0].text},
            reasons=[str(reason) for reason in found],
        )


def _write(label: str, at: datetime, by: User | None) -> Month:
    frozen = recovered.frozen_now()
    report = recovered.build(label, frozen)
    if report.gaps or report.unvalued:
        raise MonthNotReady(
            _("The figures do not tie out. Run checkledger and look at the rows it names."),
            reasons=[f"does-not-tie-out: {row}" for row in (*report.gaps, *report.unvalued)],
        )
    held = balances.at_close(label)
    frozen["values"] = recovered.held_at_close(report)
    frozen["traced"] = traced.frozen(report.followed.walk(label))
    frozen["closing_known"] = frozen_known(report.known_of("total", "closing") or Known())
    frozen["report"] = recovered.digest(report)
    last = Month.objects.order_by("-label").first()
    previous = last.digest if last else ""
    month = Month.objects.create(
        label=label,
        closed_at=at,
        closed_by=by,
        previous_digest=previous,
        digest=digest(label, previous, held, frozen),
        last_number=Counter.objects.get(name="movement").last,
        figures=frozen,
    )
    MonthBalance.objects.bulk_create(
        MonthBalance(month=month, place_id=place, quantity=quantity)
        for place, quantity in sorted(held.items())
    )
    return month


def digest(label: str, previous: str, held: dict[int, int], frozen: dict[str, Any]) -> str:
    """SHA-256, hex, over the previous digest, every movement of the month, balances and prices.

    One JSON line each, sorted keys, no spaces, UTF-8, ended by a line feed: first
    ["month", label, previous], then each movement in order, then balances by place code, then
    what was frozen.
    """
    chain = hashlib.sha256()
    for line in _canonical(label, previous, held, frozen):
        text = json.dumps(line, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        chain.update(text.encode() + b"\n")
    return chain.hexdigest()


def _canonical(
    label: str, previous: str, held: dict[int, int], frozen: dict[str, Any]
) -> Iterator[list[Any]]:
    yield ["month", label, previous]
    for line in _movements(label):
        yield ["movement", *line]
    codes = Place.objects.in_bulk(held)
    yield ["balances", *sorted([codes[pk].code, quantity] for pk, quantity in held.items())]
    yield ["frozen", frozen]


def _movements(label: str) -> Iterator[list[Any]]:
    """Plain rows: making objects of a month's movements takes most of the time of a close."""
    lines: dict[int, list[list[Any]]] = {}
    booked = Posting.objects.filter(movement__month=label).order_by("movement__number", "line")
    for number, *facts, typed, mass_mg, scale in booked.values_list(*_POSTING).iterator():
        weighed = None if typed is None else [typed, mass_mg, scale]
        lines.setdefault(number, []).append([*facts, weighed])
    rows = Movement.objects.filter(month=label).order_by("number")
    for number, kind, subject, happened_at, *facts in rows.values_list(*_MOVEMENT).iterator():
        moment = happened_at.astimezone(UTC).isoformat(timespec="microseconds")
        yield [number, kind, subject, moment, *facts, lines.get(number, [])]
