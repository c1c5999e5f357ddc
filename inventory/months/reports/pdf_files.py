"""Asking for a report as PDF, and the worker's side of it: make the file, say how far it is."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.core.files.base import ContentFile, File
from django.core.files.storage import storages
from django.db import transaction

from inventory import outbox
from inventory.errors import KeyReused
from inventory.models import OutboxMessage, ReportFile
from inventory.months.queries import months, recovered
from inventory.months.reports import document, naming

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from inventory.months.queries.recovered import Report

TOPIC = "report.pdf"
STALLED_AFTER = timedelta(minutes=3)


@transaction.atomic
def ask(*, key: UUID, label: str, at: datetime, by: User | None) -> ReportFile:
    """Enqueue the PDF of a month. A repeat under the same `key` returns the file asked for then."""
    months.parsed(label)
    earlier = ReportFile.objects.filter(key=key).first()
    if earlier is not None:
        if earlier.month != label:
            raise KeyReused()
        return earlier
    asked = ReportFile.objects.create(key=key, month=label, asked_at=at, asked_by=by)
    # In the same transaction: a row without a message would wait for ever.
    outbox.enqueue(topic=TOPIC, subject=label, at=at, payload={"file": str(key)})
    return asked


def make_pdf(message: OutboxMessage) -> None:
    """Make one report's file. Idempotent: one that is ready is left alone, a half one replaced."""
    asked = ReportFile.objects.get(key=message.payload["file"])
    if is_there(asked):
        return
    _mark(asked, state=ReportFile.State.WORKING, percent=5)
    try:
        _make(asked)
    except Exception:
        _mark(asked, state=ReportFile.State.FAILED, percent=0)
        raise


def has_stalled(asked: ReportFile, at: datetime) -> bool:
    """Whether nobody makes this file, or nobody has for long: it may be asked for anew."""
    if asked.state in (ReportFile.State.READY, ReportFile.State.FAILED):
        return False
    messages = OutboxMessage.objects.filter(topic=TOPIC, subject=asked.month)
    message = messages.filter(payload__file=str(asked.key)).first()
    is_over = message is None or message.given_up_at is not None
    return is_over or at - asked.asked_at > STALLED_AFTER


def is_there(asked: ReportFile) -> bool:
    """Whether a report's file is ready and has not been lost since, say by a restore."""
    return asked.state == ReportFile.State.READY and storages["reports"].exists(asked.file_name)


def opened(asked: ReportFile) -> File[bytes]:
    """Open a report's file, which is ready."""
    return storages["reports"].open(asked.file_name)


def _make(asked: ReportFile) -> None:
    report = recovered.of_month(asked.month)
    _mark(asked, percent=20)
    made = document.report_pdf(report, lambda percent: _mark(asked, percent=percent))
    _mark(asked, percent=90)
    digest = recovered.digest(report)
    name = _file_name(report, digest)
    name = storages["reports"].save(name, ContentFile(made))
    _mark(asked, state=ReportFile.State.READY, percent=100, digest=digest, file_name=name)


def _file_name(report: Report, digest: str) -> str:
    """Return a name by month, workshop, state and figures: new figures never overwrite old ones."""
    state = "closed" if months.closed(report.label) else "open"
    return f"{naming.stem(report)}-{state}-{digest[:8]}.pdf"


def _mark(asked: ReportFile, **changes: object) -> None:
    # An UPDATE of these columns alone, so that progress never writes back what is stale in memory.
    ReportFile.objects.filter(pk=asked.pk).update(**changes)
    for name, value in changes.items():
        setattr(asked, name, value)
