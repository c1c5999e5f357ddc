"""A form, a rule, and what the page needs to know afterwards: whether it was done."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.db import models
from django.utils import timezone

from inventory.errors import NotFound, StaleState
from inventory.furniture.pages.access import StaffRequest
from inventory.furniture.pages.forms import ActionForm, Made
from inventory.staff.queries import BENCH, OWNER, roles_of
from returns.arriving.pages import scales
from returns.bench.queries import in_hand
from returns.bench.queries.frames import version_of
from returns.models import ReturnedFrame

RowT = TypeVar("RowT", bound=models.Model)


class FrameForm(ActionForm):
    """A form about one frame: it carries the version of the frame's story that its page showed.

    Refused because somebody was faster, it takes the newer version: its page then shows the frame
    as it is now, and whoever sends it again has seen that.
    """

    seen_version = forms.IntegerField(required=False, min_value=0, widget=forms.HiddenInput)

    def attempt(self, rule: Callable[..., Made], **facts: Any) -> Made | None:
        made = super().attempt(rule, **facts, seen_version=self.cleaned_data["seen_version"])
        if isinstance(self.refusal, StaleState):
            frame: ReturnedFrame = facts["frame"] if "frame" in facts else facts["job"].frame
            sent: Any = self.data
            data = sent.copy()
            data[self.add_prefix("seen_version")] = str(version_of(frame.tag))
            self.data = data
        return made


def done(
    request: StaffRequest, form: ActionForm, rule: Callable[..., Any], /, **facts: Any
) -> bool:
    """Call a rule for a valid form, now and by the person signed in. A refusal is in the form."""
    if not form.is_valid():
        return False
    form.attempt(rule, at=timezone.now(), by=request.user, **facts)
    scale = form.cleaned_data.get("scale")
    # Only a scale whose reading was taken: a refused one may have been chosen by mistake.
    if scale is not None and not form.errors:
        scales.remember(request, scale)
    return not form.errors


def focused(form: ActionForm) -> ActionForm:
    """Put the cursor in the form's first field that a hand fills in."""
    first = next(iter(form.visible_fields()), None)
    if first is not None:
        first.field.widget.attrs["autofocus"] = True
    return form


def found(rows: models.QuerySet[RowT], **facts: Any) -> RowT:
    """Return the one row, or raise NotFound for the page that says that there is none."""
    row = rows.filter(**facts).first()
    if row is None:
        raise NotFound()
    return row


def hand_facts(request: StaffRequest, frame: ReturnedFrame) -> dict[str, Any]:
    """What a page says of who has a frame in the hand, and the key of the form that says so."""
    hand = in_hand.holders([frame.tag], timezone.now()).get(frame.tag)
    may_act = bool(roles_of(request.user) & {BENCH, OWNER})
    return {
        "hand": hand if may_act else None,
        "hand_key": uuid.uuid4(),
        "may_take": may_act and frame.ended_at is None,
    }
