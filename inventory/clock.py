"""The workshop's clock, which bounds days wherever somebody reads them."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone


def day_of(moment: datetime) -> date:
    """Return the day on which an aware moment falls by the workshop's clock."""
    # The default zone and not the current one: a reader may look from another zone, but a day of
    # the workshop ends when the workshop's clock says so.
    return timezone.localdate(moment, timezone.get_default_timezone())
