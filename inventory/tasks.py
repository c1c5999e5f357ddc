"""The worker's side of the outbox: thin tasks over `inventory.outbox`."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from inventory import outbox


@shared_task(name=outbox.SETTLE)
def settle_message(message_id: str) -> None:
    outbox.settle(UUID(message_id), at=timezone.now())


@shared_task(name="inventory.tasks.sweep_outbox")
def sweep_outbox(queue: str) -> None:
    """Pick up what a crash or an absent broker left lying, of one queue."""
    # The clock is read anew for each: its claim counts from then, and those before take time.
    for message_id in outbox.due(timezone.now(), queue=queue):
        outbox.settle(message_id, at=timezone.now())
