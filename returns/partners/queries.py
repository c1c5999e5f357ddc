"""How a partner's slips stand, without a word about whose they are. Reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, TypeVar

from django.db.models import Model, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory import clock
from inventory.errors import NotFound
from returns.models import Parcel, Partner, PartnerSlip, ReturnedFrame
from returns.story.sums import codes
from returns.story.sums.states import FrameState, RequestState

RowT = TypeVar("RowT", bound=Model)

_SECRET_LENGTH_MAX: Final = 80


@dataclass(frozen=True, slots=True)
class SlipLine:
    """One slip as its partner may see it."""

    code: str
    sheet: int
    state: str
    words: str | Promise
    since: date


STATES: Final[dict[str, str | Promise]] = {
    "unused": _("not used yet"),
    "filed": _("filed, not with us yet"),
    "unfiled": _("with us; the wearer has not filed it yet"),
    "here": _("with us"),
    "mending": _("being mended"),
    "done": _("done"),
    "ended": _("withdrawn or at rest"),
}
_MENDING: Final = frozenset({FrameState.TO_MEND, FrameState.MENDING, FrameState.MENDED})


def lines(partner: Partner) -> list[SlipLine]:
    """Return every slip of a partner, the newest sheet first."""
    return [line(slip) for slip in slips(partner)]


def slips(partner: Partner) -> QuerySet[PartnerSlip]:
    """The same as rows."""
    rows = partner.slips.select_related("request").prefetch_related("request__frames", "frames")
    return rows.order_by("-sheet", "pk")


def line(slip: PartnerSlip) -> SlipLine:
    """Return how one slip stands."""
    state, since = _state(slip)
    return SlipLine(slip.code, slip.sheet, state, STATES[state], clock.day_of(since))


def _state(slip: PartnerSlip) -> tuple[str, datetime]:
    filed = slip.request
    if filed is None:
        return ("unfiled", slip.arrived_at) if slip.arrived_at else ("unused", slip.made_at)
    if filed.state == RequestState.SETTLED:
        return "done", filed.ended_at or filed.filed_at
    if filed.state in (RequestState.WITHDRAWN, RequestState.RESTING):
        return "ended", filed.ended_at or filed.filed_at
    frames = [frame for frame in filed.frames.all() if frame.state != FrameState.VOIDED]
    if any(frame.state in _MENDING for frame in frames):
        return "mending", max(frame.weighed_at for frame in frames)
    if filed.state == RequestState.ARRIVED or frames:
        return "here", slip.arrived_at or max(
            (frame.weighed_at for frame in frames), default=filed.filed_at
        )
    return "filed", filed.filed_at


def by_secret(secret: str) -> Partner:
    """Return the partner whose page a private link opens. NotFound when it is closed or unknown."""
    found = _looked_up(Partner.objects.filter(closed_at=None), secret)
    if found is None:
        raise NotFound()
    return found


def slip_by_secret(secret: str) -> PartnerSlip:
    """Return the slip that a wearer's link names. NotFound otherwise."""
    found = _looked_up(PartnerSlip.objects.select_related("partner", "request"), secret)
    if found is None:
        raise NotFound()
    return found


def _looked_up(rows: QuerySet[RowT], secret: str) -> RowT | None:
    # Before the hash, so that a stranger cannot have megabytes hashed.
    if not secret.isascii() or len(secret) > _SECRET_LENGTH_MAX:
        return None
    return rows.filter(link_hash=codes.hash_secret(secret)).first()


@dataclass(frozen=True, slots=True)
class InBox:
    """A slip that was scanned with a box, and the tags of the frames weighed in under it."""

    slip: PartnerSlip
    tags: Sequence[str]


def in_box(parcel: Parcel) -> list[InBox]:
    """Return the slips of a box in the order of their codes, each with its frames so far."""
    live = ReturnedFrame.objects.filter(parcel=parcel).exclude(state=FrameState.VOIDED)
    frames = list(live.select_related("request__partner_slip"))
    found: dict[int, list[str]] = {}
    for frame in frames:
        story = getattr(frame.request, "partner_slip", None) if frame.request else None
        pk = frame.partner_slip_id or (story.pk if story else None)
        if pk is not None:
            found.setdefault(pk, []).append(frame.tag)
    rows = parcel.partner_slips.select_related("request").order_by("code")
    return [InBox(slip, found.get(slip.pk, [])) for slip in rows]
