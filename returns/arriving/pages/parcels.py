"""A parcel from the door to the last frame on the scale: booked, weighed in, finished."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from inventory.errors import BadInput
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, MassField, WeighedForm
from inventory.staff.queries import BENCH, OWNER
from returns.arriving import rules as arriving
from returns.arriving.pages import scales
from returns.arriving.rules import MENDS_TYPED_MAX, REASON_LENGTH_MAX, WeighIn
from returns.bench.pages import notices
from returns.bench.pages.finding import parcel_by, read_code, request_by
from returns.filing.queries import frames as filed_frames
from returns.filing.queries.frames import FiledFrame
from returns.grading.pages import wording
from returns.models import (
    Colourway,
    Parcel,
    PartnerSlip,
    ProductionBatch,
    Request,
    ReturnedFrame,
    Terms,
)
from returns.partners import queries as partners

OWN_TAGS_MAX = 100


class SlipField(forms.CharField):
    """A reference typed or scanned; empty means that there is no slip."""

    def __init__(self, **facts: Any) -> None:
        facts.setdefault("label", _("Reference on the slip"))
        super().__init__(required=False, max_length=120, **facts)
        self.widget.attrs["data-scan-kind"] = "Q"

    def clean(self, value: Any) -> Request | PartnerSlip | None:
        text = str(super().clean(value)).strip()
        if not text:
            return None
        try:
            reference = read_code(text, prefix="Q")
        except BadInput as error:
            raise forms.ValidationError(error.message) from error
        found: Request | PartnerSlip | None = (
            Request.objects.filter(reference=reference).first()
            or PartnerSlip.objects.filter(code=reference).select_related("parcel").first()
        )
        if found is None:
            raise forms.ValidationError(_t("Nothing was filed under this reference. Check it."))
        return found


class BookForm(ActionForm):
    request = SlipField(
        help_text=_("Scan it or type it. Leave it empty when there is no slip in the parcel."),
    )
    is_another = forms.BooleanField(
        required=False, label=_("It is another parcel with the same slip")
    )

    def clean_request(self) -> Request | None:
        found: Request | PartnerSlip | None = self.cleaned_data["request"]
        if isinstance(found, PartnerSlip):
            raise forms.ValidationError(
                _t("This is a partner's slip. Book the whole box: see “A partner's box”.")
            )
        return found


class DoubtfulForm(ActionForm):
    """A mass that a frame's pieces make unlikely is weighed again or explained."""

    again = MassField(
        required=False,
        label=_("Weighed again"),
        help_text=_("Take it off the scale, wait for zero, and put it on once more."),
    )
    reason = forms.CharField(
        required=False,
        max_length=REASON_LENGTH_MAX,
        label=_("Or why it weighs so much or so little"),
        help_text=_("Name no customer here."),
    )

    @property
    def is_doubtful(self) -> bool:
        """Whether a second weighing or a reason is asked for, or was given."""
        faults = (self.refusal, *self.refusal.others) if self.refusal else ()
        asked = any(one.facts.get("is_doubtful") for one in faults)
        return asked or any(self[name].value() or self[name].errors for name in ("again", "reason"))


class FrameWeighedForm(WeighedForm, DoubtfulForm):
    """A frame on the scale."""


class WeighInForm(FrameWeighedForm):
    """One frame on the scale. The page says once which fields may stay empty."""

    is_optional_said = True

    field_order = [
        "key", "mass", "scale", "again", "reason", "colourway", "cleaned", "request", "batch",
        "mends_before", "is_stranger", "number",
    ]  # fmt: skip
    colourway = forms.ModelChoiceField(
        # What is sold no more still comes back.
        Colourway.objects.select_related("model", "colour"),
        required=False,
        label=_("Model and colour"),
        empty_label=_("not known"),
    )
    cleaned = forms.BooleanField(
        required=False,
        label=_("It is washed, disinfected and dry"),
    )
    request = SlipField(
        help_text=_("Whose frame this is. Leave it empty for a frame without a slip."),
    )
    batch = forms.CharField(
        required=False,
        max_length=20,
        label=_("Batch moulded into the arm"),
        help_text=_("If it can be read."),
    )
    mends_before = forms.IntegerField(
        min_value=0,
        max_value=MENDS_TYPED_MAX,
        initial=0,
        label=_("Mended before, times"),
        help_text=_("Count the mending marks inside the arms."),
    )
    is_stranger = forms.BooleanField(required=False, label=_("It is not one of our frames"))

    number = forms.TypedChoiceField(
        required=False,
        coerce=int,
        empty_value=None,
        label=_("Which of the frames filed"),
        help_text=_("Its wish goes with it. Leave it as it is where model and colour tell."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        filed = _frames_named(str(self["request"].value() or ""))
        self.is_of_several = len(filed) > 1
        rows = [
            (one.number, f"{one.number}: {one.words}, {one.trouble_words[0]}, {one.wish_words}")
            for one in filed
        ]
        self.fields["number"].choices = [("", _t("as model and colour tell")), *rows]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """What is not ours has no model: the one tick clears the slip's own, which stood there.

        A form that cannot be read goes to no rule, so the tick that is lacking is said here.
        """
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if data.get("is_stranger"):
            data["colourway"] = None
        if self.errors and not data.get("cleaned"):
            self.add_error("cleaned", arriving.not_cleaned().message)
        return data

    def clean_batch(self) -> ProductionBatch | None:
        return batch_by(self.cleaned_data["batch"])

    def weighing(self) -> WeighIn:
        # The form's one-time key belongs to the action, not to what was weighed.
        data = dict(self.cleaned_data)
        data.pop("key")
        if isinstance(data["request"], PartnerSlip):
            data |= {"slip": data["request"], "request": None}
        return WeighIn(**data)


def _frames_named(reference: str) -> list[FiledFrame]:
    """The frames of a request whose reference stands in the form; none for any other text."""
    try:
        found = Request.objects.filter(reference=read_code(reference, prefix="Q")).first()
    except BadInput:
        return []
    return filed_frames.of(found) if found else []


def batch_by(typed: str) -> ProductionBatch | None:
    """Return the batch of a typed code, None for an empty one; ValidationError when unknown."""
    code = typed.strip()
    if not code:
        return None
    found = ProductionBatch.objects.filter(code__iexact=code).select_related("colourway").first()
    if found is None:
        raise forms.ValidationError(_t("There is no batch of this code. Leave it empty if unsure."))
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def book(request: StaffRequest) -> HttpResponse:
    """Book a parcel; the slip's reference may come with the address."""
    form = BookForm(
        request.POST if request.method == "POST" else None,
        initial={"request": request.GET.get("slip", "")[:120]},
    )
    if request.method == "POST" and form.is_valid():
        booked = form.attempt(
            arriving.book,
            request=form.cleaned_data["request"],
            is_another=form.cleaned_data["is_another"],
            at=timezone.now(),
            by=request.user,
        )
        if booked is not None:
            messages.success(request, _t("Parcel %(code)s is booked.") % {"code": booked.code})
            return redirect("parcel", booked.code)
    return render(request, "returns/bench/book.html", {"form": form}, status=_status(form))


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def request_page(request: StaffRequest, reference: str) -> HttpResponse:
    """What was filed, without who filed it, and the scale for the parcel on the counter.

    The parcel is booked with its first weighing: a scan opens this page and writes nothing.
    """
    story = request_by(reference)
    opened = arriving.parcels_of(story).filter(done_at=None).order_by("arrived_at").first()
    form = WeighInForm(
        request.POST if request.method == "POST" else None, initial=_first_guess(request, story)
    )
    takes_parcels, filed = story.kind == Request.Kind.SEND_BACK, filed_frames.of(story)
    if request.method == "POST" and form.is_valid():
        frame = _taken_in(request, form, opened)
        if frame is not None:
            return _onward(request, frame)
    facts = {
        "story": story,
        "opened": opened,
        "weigh_form": form,
        "is_expected": takes_parcels
        and (form.is_bound or opened is not None or not story.frames.exists()),
        "parcels": story.parcels.order_by("-arrived_at")[:20],
        "frames": [
            {"it": frame, "state": wording.STATES.get(frame.state, frame.state)}
            for frame in story.frames.order_by("-weighed_at")[:20]
        ],
        "photos": story.photos.order_by("added_at")[:10],
        "filed": filed,
        "expects_more": len(filed_frames.still_to_come(story, filed=filed)) > 1,
        "form": BookForm(auto_id="book_%s", initial={"request": story.reference}),
        "takes_parcels": takes_parcels,
    }
    return render(request, "returns/bench/request.html", facts, status=_status(form))


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def parcel(request: StaffRequest, code: str) -> HttpResponse:
    """Weigh in frame after frame, until the parcel is empty."""
    opened = parcel_by(code)
    form = WeighInForm(
        request.POST if request.method == "POST" else None,
        initial=_first_guess(request, opened.request),
    )
    if request.method == "POST" and form.is_valid():
        frame = _taken_in(request, form, opened)
        if frame is not None:
            return _onward(request, frame)
    facts = _parcel_facts(request, opened) | {"form": form}
    return render(request, "returns/bench/parcel.html", facts, status=_status(form))


def _taken_in(
    request: StaffRequest, form: WeighInForm, opened: Parcel | None
) -> ReturnedFrame | None:
    """Weigh in what the form says; the button says whether it was the parcel's last frame."""
    arrival = arriving.Arrival(
        weighing=form.weighing(), parcel=opened, is_last=bool(request.POST.get("last"))
    )
    return form.attempt(arriving.take_in, arrival=arrival, at=timezone.now(), by=request.user)


def _onward(request: StaffRequest, frame: ReturnedFrame) -> HttpResponse:
    """From the scale to the next deed: a parcel's last frame is in the hand, so it is looked over.

    Redirected after the action, so that a reload sends nothing again; the address says what to
    show of the weighing.
    """
    scales.remember(request, frame.reading.scale)
    if request.POST.get("last"):
        return redirect(f"{reverse('frame-look', args=[frame.tag])}?weighed=1")
    return redirect(f"{reverse('parcel', args=[frame.parcel.code])}?weighed={frame.tag}")


def _first_guess(request: StaffRequest, slip: Request | None) -> dict[str, Any]:
    """What the next frame probably is: on the same scale, and the slip's own model."""
    guess: dict[str, Any] = scales.last(request) | {"mends_before": 0}
    if slip is not None:
        guess["request"] = slip.reference
        filed = filed_frames.of(slip)
        coming = filed_frames.still_to_come(slip, filed=filed) or filed
        guess["colourway"] = coming[0].colourway
    return guess


def _parcel_facts(request: StaffRequest, opened: Parcel) -> dict[str, Any]:
    # Everything that a row shows comes in one query, however many frames the parcel held.
    rows = arriving.live_frames(opened).select_related(
        "reading", "colourway__model", "colourway__colour", "request"
    )
    frames = [_row(frame) for frame in rows[:OWN_TAGS_MAX]]
    tag = request.GET.get("weighed", "")
    filed = filed_frames.of(opened.request) if opened.request else []
    in_box = partners.in_box(opened)
    return {
        "parcel": opened,
        "frames": frames,
        "weighed": next((row for row in frames if row["it"].tag == tag), None),
        "finish_form": ActionForm(auto_id="finish_%s"),
        "filed": filed,
        "expects_more": _lacking(opened, filed, in_box) > 1,
        "is_asked_empty": "empty" in request.GET and not frames,
        "wait_minutes": Terms.the().letter_wait_minutes,
        "may_reopen": opened.done_at is not None and opened.content == Parcel.Content.EMPTY,
        "in_box": in_box,
    }


def _lacking(opened: Parcel, filed: list[FiledFrame], in_box: list[partners.InBox]) -> int:
    """How many frames that a parcel was booked for have not been weighed in."""
    if opened.request is not None:
        return len(filed_frames.still_to_come(opened.request, filed=filed))
    return sum(not one.tags for one in in_box)


def _row(frame: ReturnedFrame) -> dict[str, Any]:
    return {
        "it": frame,
        "state": wording.STATES.get(frame.state, frame.state),
        "verdict": wording.mass_verdict(frame.massfit) if frame.massfit else "",
    }


@require_http_methods(["POST"])
@allow(BENCH, OWNER)
def finish(request: StaffRequest, code: str) -> HttpResponse:
    """Nothing is left in the parcel. A refusal is shown as a page of its own."""
    form = ActionForm(request.POST)
    if not form.is_valid():
        raise BadInput(_t("This form was incomplete. Open the parcel's page and press again."))
    done = arriving.finish(
        key=form.cleaned_data["key"], parcel=parcel_by(code), at=timezone.now(), by=request.user
    )
    if done.content == Parcel.Content.EMPTY:
        words = _t("Parcel %(code)s was empty. Its customer is told in some minutes.")
        undo = reverse("parcel", args=[done.code])
        notices.done(request, words % {"code": done.code}, undo=undo)
        return redirect("bench")
    messages.success(request, _t("Parcel %(code)s is finished.") % {"code": done.code})
    first = arriving.live_frames(done).first()
    # A single frame is what the hand holds now, so its page comes next.
    return redirect("frame", first.tag) if first and done.frames.count() == 1 else redirect("bench")


@require_http_methods(["POST"])
@allow(BENCH, OWNER)
def reopen(request: StaffRequest, code: str) -> HttpResponse:
    """The parcel was not empty after all."""
    form = ActionForm(request.POST)
    if not form.is_valid():
        raise BadInput(_t("This form was incomplete. Open the parcel's page and press again."))
    opened = arriving.reopen(
        key=form.cleaned_data["key"], parcel=parcel_by(code), at=timezone.now(), by=request.user
    )
    messages.success(request, _t("Parcel %(code)s is open again.") % {"code": opened.code})
    return redirect("parcel", opened.code)


def _status(form: forms.BaseForm) -> int:
    return 422 if form.is_bound and form.errors else 200
