"""Letters and reports that the service sends or makes: what became of each, and trying again."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Case, IntegerField, Value, When
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST, require_safe

from inventory import outbox
from inventory.errors import BadInput
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Event, OutboxMessage
from inventory.running.queries.outbox import given_up_rows
from inventory.staff.queries import OWNER
from returns.letters.delivery import sent_keys

ROWS: Final = 50
_AGAIN_MAX: Final = 1000

NAMES: Final[dict[str, str | Promise]] = {
    "filed": gettext_lazy("request received"),
    "taken_in": gettext_lazy("receipt from the counter"),
    "waiting_stock": gettext_lazy("waits for screws"),
    "kit_reserved": gettext_lazy("screws are kept for you"),
    "kit_posted": gettext_lazy("screws posted"),
    "missing": gettext_lazy("reported missing"),
    "address_changed": gettext_lazy("address changed"),
    "email_changed": gettext_lazy("email changed, to the new address"),
    "email_left": gettext_lazy("email changed, to the old address"),
    "withdrawn": gettext_lazy("request withdrawn"),
    "reminder": gettext_lazy("reminder: no frame has come"),
    "resting": gettext_lazy("request rests"),
    "find_link": gettext_lazy("private link, asked for again"),
    "arrived": gettext_lazy("parcel arrived"),
    "empty": gettext_lazy("parcel held no frame"),
    "held": gettext_lazy("on hold"),
    "graded": gettext_lazy("what we decided"),
    "posted_mended": gettext_lazy("mended and posted"),
    "posted_as_is": gettext_lazy("posted back as it is"),
    "lenses_posted": gettext_lazy("lenses posted"),
    "ready": gettext_lazy("ready to be collected"),
    "handed_over": gettext_lazy("collected at the counter"),
    "ground": gettext_lazy("ground"),
    "discarded": gettext_lazy("frame is gone"),
    "question": gettext_lazy("a question about the frame"),
    "question_reminder": gettext_lazy("reminder: the question waits for an answer"),
}


@dataclass(frozen=True)
class Line:
    """A message as the page shows it. `state`: given_up, failing, waiting, sent or unneeded."""

    message: OutboxMessage
    name: str | Promise
    state: str
    key: uuid.UUID = field(default_factory=uuid.uuid4)

    @property
    def may_be_tried(self) -> bool:
        return self.state in {"given_up", "failing"}


class AgainForm(ActionForm):
    """`message` names one; without it, every message that was given up is tried again."""

    message = forms.UUIDField(required=False)


@allow(OWNER)
@require_safe
def page(request: StaffRequest) -> HttpResponse:
    """What was given up first, then what waits, then what went out, the newest first."""
    # Ranked in the database, so that what needs a person is on the first page, however much was
    # sent.
    rank = Case(
        When(settled_at__isnull=False, then=Value(2)),
        When(given_up_at__isnull=True, then=Value(1)),
        default=Value(0),
        output_field=IntegerField(),
    )
    rows = OutboxMessage.objects.annotate(rank=rank).order_by("rank", "-created_at", "pk")
    shown = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    facts = {
        "lines": _lines(list(shown)),
        "page": shown,
        "given_up": given_up_rows().count(),
        "key": uuid.uuid4(),
    }
    return render(request, "returns/owner/letters.html", facts)


def _lines(rows: Sequence[OutboxMessage]) -> list[Line]:
    # One question for the events of a whole page; a settled message alone does not say that a
    # letter went out.
    keys = sent_keys([row for row in rows if row.topic == "letter"])
    sent = set(Event.objects.filter(key__in=keys.values()).values_list("key", flat=True))
    return [Line(row, _name(row), _state(row, keys.get(row.pk) in sent)) for row in rows]


def _name(row: OutboxMessage) -> str | Promise:
    if row.topic != "letter":
        return _("Report as PDF")
    letter = str(row.payload.get("letter", ""))
    return NAMES.get(letter, letter)


def _state(row: OutboxMessage, was_sent: bool) -> str:
    if row.settled_at is None:
        if row.given_up_at is not None:
            return "given_up"
        return "failing" if row.tries and row.last_error else "waiting"
    # Settled without an event: nobody was there to write to, or what it said was taken back.
    return "sent" if was_sent or row.topic != "letter" else "unneeded"


@allow(OWNER)
@require_POST
def try_again(request: StaffRequest) -> HttpResponse:
    """Try one, or all that were given up, at once and for another five days."""
    form = AgainForm(request.POST)
    if not form.is_valid():
        raise BadInput(_("Open the list of letters anew, and press the button there."))
    one = form.cleaned_data["message"]
    # Bounded, for one press should not fill the worker's queue; what is left can be pressed again.
    wanted = [one] if one else given_up_rows().values_list("pk", flat=True)[:_AGAIN_MAX]
    tried = outbox.try_again(
        key=form.cleaned_data["key"], messages=wanted, at=timezone.now(), by=request.user
    )
    words = ngettext(
        "%(count)s is being tried again.", "%(count)s are being tried again.", tried
    ) % {"count": tried}
    messages.success(request, words)
    return redirect("letters")
