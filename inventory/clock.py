"""The workshop's clock, which bounds days wherever somebody reads them."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone


def day_of(moment: datetime) -> date:
    """The day of an aware moment on the workshop's clock."""
    return timezone.localdate(moment, timezone.get_default_timezone())
