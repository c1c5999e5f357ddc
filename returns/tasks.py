"""Periodic work of the returns room: thin, bounded, and safe to run again at any time."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

import structlog
from celery import shared_task
from django.utils import timezone

from inventory.furniture.api import idempotency
from inventory.staff.rules import signins
from returns.asking import rules as asking
from returns.customers import rules as people
from returns.filing.rules import drafts, intake, papers, photos, underway
from returns.goods import rules as goods
from returns.handover.rules import taking
from returns.kits.rules import kits

log = structlog.get_logger(__name__)

ORPHAN_AGE = timedelta(days=1)
PAPERS_AGE = timedelta(days=30)


@shared_task(name="returns.tasks.prune_expired")
def prune_expired() -> None:
    """End stories that nobody will go on with, erase people and answers whose time is up."""
    now = timezone.now()
    prune(now)
    idempotency.prune(now)


@shared_task(name="returns.tasks.reserve_waiting_kits")
def reserve_waiting_kits() -> None:
    """Promise kits to those who wait, should nobody have done so when the parts came in."""
    kits.reserve_waiting(timezone.now())


def prune(at: datetime) -> dict[str, int]:
    """Do what `prune_expired` does, as of a moment. Returns how many of each."""
    done = {
        "settled": kits.settle_posted(at),
        "lapsed": len(intake.lapse(at)),
        "resting": underway.rest(at),
        "reminded": underway.remind(at),
        "asked_again": asking.remind(at),
        "erased": _erase_expired(at),
        "unclaimed": taking.forget_unclaimed(at),
        "givers": goods.forget_old(at),
        "drafts": drafts.prune(older_than=at - ORPHAN_AGE),
        **signins.prune(at),
        "files": photos.remove_orphans(older_than=at - ORPHAN_AGE),
        "papers": papers.prune(older_than=at - PAPERS_AGE),
    }
    log.info("pruned", **done)
    return done


def _erase_expired(at: datetime) -> int:
    expired = people.expired(at)
    for person in expired:
        people.erase(key=uuid.uuid4(), person=person, at=at)
    return len(expired)
