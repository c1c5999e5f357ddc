"""The worker's operating tasks: thin, and harmless when they run twice."""

from __future__ import annotations

from celery import shared_task

from deploy import copies


@shared_task(name="deploy.tasks.copy_when_due", soft_time_limit=3500, time_limit=3600)
def copy_when_due() -> None:
    """Make tonight's copy, prove it, and forget by rule."""
    copies.make_if_due()
