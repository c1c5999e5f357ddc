"""How long a request has waited for its parcel, and until when it does. Reads."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from inventory import clock
from returns.models import Request, Terms
from returns.story.sums.states import RequestState


def since(request: Request) -> datetime:
    """Return since when its parcel is awaited."""
    return request.revived_at or request.filed_at


def last_day(request: Request) -> date:
    """Return the day after which a request rests whose parcel has not come."""
    return clock.day_of(since(request) + timedelta(days=Terms.the().rest_days))


def to_remind(at: datetime) -> QuerySet[Request]:
    """Return requests awaited longer than the days to a reminder, and not reminded since."""
    rows = _awaited(at - timedelta(days=Terms.the().remind_days))
    return rows.filter(reminded_at=None)


def to_rest(at: datetime) -> QuerySet[Request]:
    """Return requests awaited so long that nobody will send the frame any more, as it seems."""
    return _awaited(at - timedelta(days=Terms.the().rest_days))


def _awaited(limit: datetime) -> QuerySet[Request]:
    rows = Request.objects.filter(state=RequestState.AWAITED.value)
    # A request that was woken waits from then on. The same rule as `since`, asked of the database.
    rows = rows.annotate(since=Coalesce("revived_at", "filed_at")).filter(since__lte=limit)
    return rows.order_by("pk")


def under_way() -> QuerySet[Request]:
    """Return send-backs whose customer says that they are in the post, the oldest first."""
    rows = Request.objects.filter(state=RequestState.AWAITED.value).exclude(sent_at=None)
    return rows.order_by("sent_at", "pk")
