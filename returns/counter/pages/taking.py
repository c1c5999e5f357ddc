"""The counter: one page that takes a frame in, and the receipt that comes of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from django import forms
from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.frame import roles
from inventory.staff.queries import BENCH, OWNER
from returns.arriving.pages import scales
from returns.arriving.pages.parcels import FrameWeighedForm
from returns.arriving.rules import WeighIn
from returns.bench.pages.finding import request_by
from returns.counter import rules as counter
from returns.counter.pages import papers
from returns.filing.pages.forms import (
    ADDRESS_FIELDS,
    AddressFields,
    FrameForm,
    ReturnFrameForm,
    troubles_in_words,
)
from returns.filing.queries import frames, terms
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing
from returns.models import WalkIn
from returns.models.catalogue import ComponentKey
from returns.story.sums.states import FrameState

# So long a receipt, which holds the customer's private link, is the bench's to print again.
RECEIPT_OPEN: Final = timedelta(hours=1)


class CounterForm(FrameForm, AddressFields, FrameWeighedForm):
    """What the hand types, and below it what the customer decides."""

    field_order = (
        *("key", "colourway", "component", "defect", "note", "mass", "scale", "again", "reason"),
        *("cleaned", "name", "email", *ADDRESS_FIELDS[1:], "collects", "wish", "lenses_back"),
        *("notice", "seen"),
    )

    photos = None  # type: ignore[assignment]
    email = forms.EmailField(
        label=_("Email"),
        max_length=254,
        required=False,
        help_text=_("Without one the receipt carries the private link."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    cleaned = forms.BooleanField(
        label=_("It is washed, disinfected and dry"),
        error_messages={
            "required": _("Wash, disinfect and dry the frame before it is weighed, then tick this.")
        },
    )
    collects = forms.BooleanField(
        required=False, label=_("It is collected here: post nothing, write when it is ready")
    )
    wish = ReturnFrameForm.base_fields["wish"]
    lenses_back = ReturnFrameForm.base_fields["lenses_back"]
    notice = forms.BooleanField(
        label=_("I have read what happens with my frame and with my data."),
        error_messages={"required": _("Read the notice and tick that you have read it.")},
    )
    seen = forms.BooleanField(required=False, label=_("I have seen the slip with the signature"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = self.fields["colourway"].queryset  # type: ignore[attr-defined]
        self.fields["colourway"] = forms.ModelChoiceField(
            rows, label=_("Model and colour"), empty_label=_("not known"), required=False
        )
        for name, words in (
            ("component", _("Where is it broken?")),
            ("defect", _("What is wrong?")),
        ):
            before: Any = self.fields[name]
            self.fields[name] = forms.ChoiceField(
                label=words,
                choices=[("", _("choose")), *before.choices],
                error_messages=before.error_messages,
            )
        # The machine is ours: it must not offer the next customer what the last one typed.
        for name in ADDRESS_FIELDS:
            self.fields[name].widget.attrs["autocomplete"] = "off"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if "paper" in self.data.getlist("consent") and not cleaned.get("seen"):  # type: ignore[attr-defined]
            self.add_error(
                "seen", _t("Print the slip, have it signed, look at it, then tick this.")
            )
        return cleaned

    def filing(self) -> Filing:
        """What the customer files, as the rules take it."""
        return Filing.of(
            [self.frame()], notice_version=intake.NOTICE_VERSION, contact=self.contact()
        )

    def weighing(self) -> WeighIn:
        """What the scale showed, as the rules take it."""
        data = self.cleaned_data
        names = ("scale", "mass", "cleaned", "colourway", "again", "reason")
        return WeighIn(**{name: data[name] for name in names})


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def take_in(request: StaffRequest) -> HttpResponse:
    """Take a frame in. The button that is pressed says how the customer agreed."""
    form = CounterForm(
        request.POST if request.method == "POST" else None, initial=scales.last(request)
    )
    if form.is_bound and form.is_valid():
        taken = form.attempt(
            counter.take_in,
            filing=form.filing(),
            weighing=form.weighing(),
            consent=request.POST.get("consent", ""),
            collects=form.cleaned_data["collects"],
            at=timezone.now(),
            by=request.user,
        )
        if taken is not None:
            scales.remember(request, form.cleaned_data["scale"])
            return redirect("counter-receipt", taken.request.reference)
    status = 422 if form.is_bound else 200
    return render(request, "returns/bench/counter.html", {"form": form}, status=status)


@require_POST
@allow(BENCH, OWNER)
def consent_slip(request: StaffRequest) -> HttpResponse:
    """The slip to be signed, with what stands in the form. Nothing is filed by printing it."""
    form = CounterForm(request.POST)
    form.is_valid()
    # It is signed before the tick that somebody saw it, and may be signed before the weighing.
    for name in ("seen", "cleaned", "mass", "scale"):
        form.errors.pop(name, None)
    if form.errors:
        return render(request, "returns/bench/counter.html", {"form": form}, status=422)
    facts = {
        "contact": form.contact(),
        "frame": form.frame(),
        "component": ComponentKey(form.cleaned_data["component"]).label,
        "hand": request.user.get_full_name() or request.user.get_username(),
    }
    return _pdf(papers.consent(facts), "consent")


def _walk_in(reference: str) -> WalkIn:
    found = WalkIn.objects.select_related("request__person", "seen_by")
    walk_in = found.filter(request=request_by(reference)).first()
    if walk_in is None:
        raise NotFound()
    return walk_in


def _is_open(request: StaffRequest, walk_in: WalkIn) -> bool:
    """Whether the private link may still be shown to the staff."""
    if walk_in.request.ended_at is not None:
        return False
    return timezone.now() - walk_in.at < RECEIPT_OPEN or OWNER in roles(request)


def _facts(walk_in: WalkIn) -> dict[str, Any]:
    filed = walk_in.request
    (one,) = frames.of(filed)
    return {
        "walk_in": walk_in,
        "filed": filed,
        "one": one,
        "troubles": troubles_in_words(one),
        "cost_kind": terms.cost_kind(filed),
        "frame": filed.frames.exclude(state=FrameState.VOIDED).select_related("reading").first(),
    }


@require_safe
@allow(BENCH, OWNER)
def receipt(request: StaffRequest, reference: str) -> HttpResponse:
    """What was taken in, with its tag and the receipt to print."""
    walk_in = _walk_in(reference)
    facts = _facts(walk_in) | {"is_open": _is_open(request, walk_in)}
    return render(request, "returns/bench/counter_receipt.html", facts)


@require_safe
@allow(BENCH, OWNER)
def receipt_pdf(request: StaffRequest, reference: str) -> HttpResponse:
    """The receipt for the customer's hand, with the private link as a QR code."""
    walk_in = _walk_in(reference)
    if not _is_open(request, walk_in):
        raise NotFound(
            _t("This receipt was open for printing for an hour. The owner can print it.")
        )
    link = f"{settings.BASE_URL}{reverse('story', args=[intake.renewed_secret(walk_in.request)])}"
    return _pdf(papers.receipt(_facts(walk_in) | {"link": link}), walk_in.request.reference)


def _pdf(drawn: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(drawn, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    answer["Cache-Control"] = "no-store"
    return answer
