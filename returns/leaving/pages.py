"""Posting: a frame, the lenses of one, a spare kit; and the list of what is to leave today."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, MassField, ScaleField, ScanField
from inventory.models import Reservation, Workshop
from inventory.models.places import ReservationState
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.bench.pages import labels
from returns.bench.pages.attempts import done, found
from returns.bench.pages.finding import frame_by
from returns.filing.rules import intake
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.leaving import rules as posting_out
from returns.mending.rules import mending
from returns.models import Dispatch, Request, ReturnedFrame
from returns.story.rules import lenses_wait
from returns.story.sums.states import FrameState, RequestState


class LensForm(ActionForm):
    """The lenses leave with the tag of their frame."""

    scanned = ScanField(
        kind="F",
        label=_("Tag of the frame"),
        help_text=_("Scan the tag on what you post, or type its code."),
    )


class AsItIsForm(LensForm):
    """A frame that goes back as it is may be weighed once more; a mended one was weighed out."""

    scale = ScaleField(required=False)
    mass = MassField(
        required=False,
        label=_("Mass"),
        help_text=_("As the scale shows it, for example 24,31 or 24.31 g."),
    )
    reason = forms.CharField(
        required=False, max_length=200, label=_("Reason for a large difference")
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def post_frame(request: StaffRequest, tag: str) -> HttpResponse:
    """Show the address and its label, and take the word that the frame is in the post."""
    frame = frame_by(tag)
    form = AsItIsForm(request.POST or None, initial=scales.last(request))
    if request.method == "POST" and _is_posted(request, form, frame):
        messages.success(request, _t("%(tag)s is posted.") % {"tag": frame.tag})
        return redirect("kits")
    return _frame_page(request, frame, form)


@require_POST
@allow(BENCH, OWNER)
def post_lenses(request: StaffRequest, tag: str) -> HttpResponse:
    """Take the word that the lenses of a stripped frame are in the post."""
    # Two forms with the same field stand on the page, so the ids of one have another beginning.
    frame, form = frame_by(tag), LensForm(request.POST, auto_id="lens_%s")
    scanned = form.cleaned_data["scanned"] if form.is_valid() else ""
    if done(request, form, posting_out.post_lenses, frame=frame, scanned=scanned):
        messages.success(request, _t("The lenses of %(tag)s are posted.") % {"tag": frame.tag})
        return redirect("kits")
    return _frame_page(request, frame, form)


@require_safe
@allow(BENCH, OWNER)
def frame_label(request: StaffRequest, tag: str) -> HttpResponse:
    """Send the address label for a frame or its lenses, before it is posted."""
    del request
    frame = frame_by(tag)
    return _label(Dispatch(code=frame.tag, frame=frame, request=frame.request))


@require_safe
@allow(BENCH, OWNER)
def kit_list(request: StaffRequest) -> HttpResponse:
    """List everything that is to be posted, the kits that wait, and what went missing."""
    facts = {
        # Most lists are cut, so that the page stays quick on a day when much has piled up.
        "lost": list(intake.lost(timezone.now())[:100]),
        "listed_days": kit_stock.SETTLED_AFTER.days,
        "frames": list(posting_out.frames_to_post()[:100]),
        "lenses": posting_out.lenses_to_post(),
        "kits": list(kit_stock.to_post()[:100]),
        "waiting": list(kit_stock.waiting()[:100]),
        "missing": list(kit_stock.missing()[:100]),
        "wide": True,
    }
    return render(request, "returns/workroom/kits.html", facts)


@require_safe
@allow(BENCH, OWNER)
def address_sheet(request: StaffRequest) -> HttpResponse:
    """Send the address labels of all that is to be posted, on sheets of A4."""
    del request
    # A dispatch that is never saved: a label is printed before the post takes it, and prints as
    # often as needed.
    leaving = [
        *(Dispatch(code=one.reference, request=one) for one in kit_stock.to_post()[:100]),
        *(
            Dispatch(code=frame.tag, frame=frame, request=frame.request)
            for frame in (*posting_out.frames_to_post()[:100], *posting_out.lenses_to_post())
        ),
    ]
    # An erased customer or a parcel without a request has no address, and no reason to stop the
    # others.
    addressed = [one for one in leaving if labels.receiver(one) is not None]
    if not addressed:
        raise NotFound(_t("No address is known of anything that is to be posted."))
    drawn = labels.addresses_pdf(addressed[: labels.LABELS_MAX])
    return HttpResponse(drawn, content_type="application/pdf")


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def kit(request: StaffRequest, reference: str) -> HttpResponse:
    """Show one kit: its packing list, its label, and what can be done with it."""
    asked = _asked(reference)
    form = ActionForm(request.POST or None)
    # The button names the action; what is not in the table does nothing.
    rule = _KIT_RULES.get(request.POST.get("action", "post"))
    if request.method == "POST" and rule is not None and done(request, form, rule, request=asked):
        messages.success(request, _t("Done: %(reference)s.") % {"reference": asked.reference})
        return redirect("kits")
    refused = form if form.is_bound else None
    facts = {
        "asked": asked,
        "form": form if refused else ActionForm(),
        "refused": refused,
        "packing": _packing(asked),
        "address": _address(asked),
        "may_post": asked.state == RequestState.RESERVED,
        "is_missing": asked.state == RequestState.REPORTED_MISSING,
    }
    status = 422 if refused else 200
    return render(request, "returns/workroom/kit.html", facts, status=status)


@require_safe
@allow(BENCH, OWNER)
def kit_label(request: StaffRequest, reference: str) -> HttpResponse:
    """Send the address label of a kit."""
    del request
    asked = _asked(reference)
    return _label(Dispatch(code=asked.reference, request=asked))


_KIT_RULES = {
    "post": kits.post,
    "put-back": kits.put_back,
    "repost": kits.repost,
    "turned-up": kits.turned_up,
}


def _asked(reference: str) -> Request:
    rows = Request.objects.filter(kind=Request.Kind.SCREWS)
    rows = rows.select_related("person", "colourway__model", "colourway__colour")
    return found(rows, reference=reference)


def _packing(asked: Request) -> list[tuple[Any, int]]:
    """Return what was promised to the request; if nothing yet, what its kit would hold."""
    promised = Reservation.objects.filter(
        subject=asked.reference, state=ReservationState.OPEN
    ).select_related("part")
    rows = [(row.part, row.pieces) for row in promised.order_by("part__code")]
    return rows or list(kit_stock.contents_for(asked.kit_for).items())


def _is_posted(request: StaffRequest, form: ActionForm, frame: ReturnedFrame) -> bool:
    facts = {}
    if form.is_valid():
        facts = {name: data for name, data in form.cleaned_data.items() if name != "key"}
    return done(request, form, posting_out.post_frame, frame=frame, **facts)


def _frame_page(request: StaffRequest, frame: ReturnedFrame, form: ActionForm) -> HttpResponse:
    refused = form if form.is_bound else None
    facts = {
        "frame": frame,
        "form": form,
        "lens_form": form if refused and lenses_wait(frame) else LensForm(auto_id="lens_%s"),
        "refused": refused,
        "is_mended": frame.state == FrameState.MENDED,
        "is_as_it_is": frame.state == FrameState.TO_RETURN,
        "lenses_wait": lenses_wait(frame),
        "mass_mg": mending.expected_mass_mg(frame),
        "known": traced.in_house(frame.tag),
        "address": _address(frame.request),
    }
    status = 422 if refused else 200
    return render(request, "returns/workroom/post_frame.html", facts, status=status)


def _address(asked: Request | None) -> list[str]:
    person = asked.person if asked else None
    # What was erased at the customer's wish must not come back on a label.
    if person is None or person.erased_at is not None:
        return []
    return labels.address_lines(person, Workshop.the())


def _label(dispatch: Dispatch) -> HttpResponse:
    if not _address(dispatch.request):
        raise NotFound(_t("No address is known for this. Look at the parcel it came in."))
    drawn = labels.address_pdf(dispatch)
    return HttpResponse(drawn, content_type="application/pdf")
