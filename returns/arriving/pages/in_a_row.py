"""Several frames in a row: scan, weigh, scan, weigh; one press then books all that stands there."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import SCANNED, MassField, ScaleField
from inventory.staff.queries import BENCH, OWNER
from returns.arriving import rules as arriving
from returns.arriving.pages import scales
from returns.arriving.pages.parcels import DoubtfulForm, SlipField
from returns.arriving.rules import Arrival, WeighIn
from returns.bench.queries import queue
from returns.filing.queries import frames as filed_frames
from returns.models import PartnerSlip, Request, ReturnedFrame
from returns.story.sums.states import FrameState

LINES_MAX: Final = 12


class SharedForm(forms.Form):
    """What holds for all lines: the scale, and the word that each frame is clean."""

    scale = ScaleField()
    cleaned = forms.BooleanField(
        required=False, label=_("All of them are washed, disinfected and dry")
    )

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if not data.get("cleaned"):
            self.add_error("cleaned", arriving.not_cleaned().message)
        return data


class LineForm(DoubtfulForm):
    """One parcel with one frame in it: its slip and what the scale shows."""

    use_required_attribute = False
    is_optional_said = True

    request = SlipField(label=_("Slip"))
    mass = MassField(required=False, label=_("Mass"))

    @property
    def is_empty(self) -> bool:
        """Whether nobody wrote in this line."""
        return not any(self[name].value() for name in ("request", "mass"))

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if self.is_empty:
            return data
        if not data.get("request") and "request" not in self.errors:
            self.add_error(
                "request", _t("Scan the slip. A parcel without one is booked by itself.")
            )
        if not data.get("mass") and "mass" not in self.errors:
            self.add_error("mass", _t("Weigh this frame, and write what the scale shows."))
        slip = data.get("request")
        if isinstance(slip, PartnerSlip):
            self._look_at(slip)
            return data
        filed = filed_frames.of(slip) if slip else []
        if len(filed) > 1:
            self.add_error("request", _t("Several frames were filed: scan it by itself."))
        elif slip and not self._is_repeat() and not filed_frames.still_to_come(slip, filed=filed):
            # Weighed in before, or twice in the pile: its own page shows which.
            self.add_error("request", _t("Its frame is here already: scan it by itself and see."))
        return data

    def _look_at(self, slip: PartnerSlip) -> None:
        """A shop's slip with which nobody has filed yet: its frame lies in a box that is open."""
        if slip.parcel is None or slip.parcel.done_at is not None:
            self.add_error("request", _t("This is a shop's slip. Book its box first."))
        elif not self._is_repeat() and slip.frames.exclude(state=FrameState.VOIDED).exists():
            self.add_error("request", _t("Its frame is here already: scan it by itself and see."))

    def _is_repeat(self) -> bool:
        """Whether this very line was taken before: a second click is answered as the first."""
        key = self.cleaned_data.get("key")
        return key is not None and ReturnedFrame.objects.filter(key=key).exists()

    def arrival(self, shared: dict[str, Any]) -> Arrival:
        """Return what the rule takes: the slip's own model, in its open parcel or in a new one."""
        slip: Request | PartnerSlip = self.cleaned_data["request"]
        weighed = {name: self.cleaned_data[name] for name in ("mass", "again", "reason")} | shared
        if isinstance(slip, PartnerSlip):
            return Arrival(weighing=WeighIn(slip=slip, **weighed), parcel=slip.parcel)
        weighing = WeighIn(request=slip, colourway=slip.colourway, **weighed)
        parcel = arriving.parcels_of(slip).filter(done_at=None).first()
        # A shop's box has the frames of others in it too.
        is_last = parcel is None or parcel.request_id is not None
        return Arrival(weighing=weighing, parcel=parcel, is_last=is_last)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def arrivals(request: StaffRequest) -> HttpResponse:
    """What has come: a line a parcel to weigh in, those that are open, those on their way."""
    sent = request.POST if request.method == "POST" else None
    shared = SharedForm(sent, initial=scales.last(request))
    lines = [_line(sent, number) for number in range(1, LINES_MAX + 1)]
    made = _taken_in(request, shared, lines) if sent is not None else []
    left = [one for one in lines if one.refusal or one.errors]
    if sent is not None and not left and not shared.errors:
        return _done(request, made)
    facts = {
        "shared": shared,
        "lines": [one for one in lines if not getattr(one, "is_taken", False)],
        "tried": [one for one in (shared, *left) if one.errors] if sent is not None else [],
        "weighed": made or _named(request),
        "opened": queue.today(step="parcels", page=1).page,
        "underway": queue.today(step="underway", page=1).page,
    }
    return render(
        request, "returns/bench/arrivals.html", facts, status=422 if facts["tried"] else 200
    )


def _line(sent: Any, number: int) -> LineForm:
    form = LineForm(sent, prefix=f"line{number}")
    form.fields["request"].widget.attrs |= SCANNED | {"data-scan": "one", "placeholder": " "}
    return form


def _taken_in(
    request: StaffRequest, shared: SharedForm, lines: list[LineForm]
) -> list[ReturnedFrame]:
    """Weigh in each line that is right; a line that is not keeps what was written and says why.

    Each parcel is a deed of its own, so that one doubtful mass holds up no other.
    """
    written = [one for one in lines if one.is_valid() and not one.is_empty]
    _refuse_twice(written)
    made = []
    if not shared.is_valid():
        return []
    for form in [one for one in written if one.is_valid()]:
        frame = form.attempt(
            arriving.take_in,
            arrival=form.arrival(shared.cleaned_data),
            at=timezone.now(),
            by=request.user,
        )
        if frame is not None:
            form.is_taken = True  # type: ignore[attr-defined]
            scales.remember(request, shared.cleaned_data["scale"])
            made.append(frame)
    return made


def _refuse_twice(written: list[LineForm]) -> None:
    seen: set[int] = set()
    for form in written:
        slip: Request = form.cleaned_data["request"]
        if slip.pk in seen:
            form.add_error("request", _t("This slip stands in another line too."))
        seen.add(slip.pk)


def _done(request: StaffRequest, made: list[ReturnedFrame]) -> HttpResponse:
    if not made:
        messages.info(request, _t("No line was written yet."))
        return redirect("arrivals")
    words = ngettext(
        "%(count)s frame is weighed in.", "%(count)s frames are weighed in.", len(made)
    )
    messages.success(request, words % {"count": len(made)})
    tags = ",".join(frame.tag for frame in made)
    return redirect(f"{reverse('arrivals')}?weighed={tags}")


def _named(request: StaffRequest) -> list[ReturnedFrame]:
    tags = request.GET.get("weighed", "").replace("\0", "").split(",")[:LINES_MAX]
    rows = ReturnedFrame.objects.filter(tag__in=tags).select_related("reading", "colourway__model")
    return list(rows.order_by("pk"))
