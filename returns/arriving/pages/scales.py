"""Which scale a form starts with: the one that this person used last."""

from __future__ import annotations

from typing import Any, Final

from inventory.furniture.pages.access import StaffRequest
from inventory.models import Movement, Posting, Scale

_IN_SESSION: Final = "bench-scale"
_LOOK_BACK: Final = 30


def remember(request: StaffRequest, scale: Scale) -> None:
    request.session[_IN_SESSION] = scale.pk


def last(request: StaffRequest) -> dict[str, Any]:
    """The scale to start with: of this sign-in, else of this person's latest movements, else the
    only one in use."""
    in_use = list(Scale.objects.filter(in_use=True).values_list("pk", flat=True)[:2])
    if len(in_use) == 1:
        return {"scale": in_use[0]}
    return {"scale": request.session.get(_IN_SESSION) or _of_latest_reading(request)}


def _of_latest_reading(request: StaffRequest) -> int | None:
    latest = Movement.objects.filter(actor=request.user).order_by("-number")[:_LOOK_BACK]
    rows = Posting.objects.filter(movement__in=latest.values("pk"), reading__scale__in_use=True)
    return rows.order_by("-pk").values_list("reading__scale", flat=True).first()
