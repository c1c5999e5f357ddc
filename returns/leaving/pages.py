"""Posting: a frame, the lenses of one, a spare kit; and the list of what is to leave today."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID, uuid4, uuid5

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import BadInput, HingebackError, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import (
    ActionForm,
    MassField,
    ScaleField,
    ScanField,
    ScansField,
)
from inventory.models import Reservation, Workshop
from inventory.models.places import ReservationState
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.bench.pages import labels
from returns.bench.pages.attempts import done, found
from returns.bench.pages.finding import frame_by, read_code
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


class KitsField(forms.MultipleChoiceField):
    """References of kits. Any code may be sent: the rule judges what stands under it."""

    def valid_value(self, value: Any) -> bool:
        try:
            return bool(read_code(str(value)[:40], prefix="Q"))
        except BadInput:
            return False


class TrayForm(ActionForm):
    """What goes to the post in one go: frames and lenses by their tags, kits by a tick."""

    scans = ScansField(
        kind="F",
        required=False,
        is_asked=True,
        label=_("Tags of the frames and lenses"),
        help_text=_("Scan the tag of each as it goes into the tray. It leaves the house with it."),
    )
    kits = KitsField(required=False, label=_("Spare kits"))

    def clean_kits(self) -> list[Request]:
        # Also those that went a moment ago: a second press of the same form finds what it did.
        wanted = [read_code(one, prefix="Q") for one in self.cleaned_data["kits"]]
        rows = Request.objects.filter(kind=Request.Kind.SCREWS, reference__in=wanted)
        return list(rows.order_by("reference"))

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.errors and not data.get("scans") and not data.get("kits"):
            self.add_error(
                "scans", _t("Scan what goes to the post, or tick the kits that do; then press.")
            )
        return data


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def post_frame(request: StaffRequest, tag: str) -> HttpResponse:
    """Show the address and its label, and take the word that the frame is in the post."""
    frame = frame_by(tag)
    form = AsItIsForm(request.POST or None, initial=scales.last(request))
    at_counter = request.POST.get("way") == "counter"
    deed = _is_handed_over if at_counter else _is_posted
    if request.method == "POST" and deed(request, form, frame):
        messages.success(request, _gone_words(at_counter=at_counter) % {"tag": frame.tag})
        return redirect("kits")
    return _frame_page(request, frame, form)


@require_POST
@allow(BENCH, OWNER)
def post_lenses(request: StaffRequest, tag: str) -> HttpResponse:
    """Take the word that the lenses of a stripped frame are in the post."""
    # Two forms with the same field stand on the page, so the ids of one have another beginning.
    frame, form = frame_by(tag), LensForm(request.POST, auto_id="lens_%s")
    scanned = form.cleaned_data["scanned"] if form.is_valid() else ""
    at_counter = request.POST.get("way") == "counter"
    rule = posting_out.hand_over_lenses if at_counter else posting_out.post_lenses
    if done(request, form, rule, frame=frame, scanned=scanned):
        words = (
            _t("The lenses of %(tag)s are handed over.")
            if at_counter
            else _t("The lenses of %(tag)s are posted.")
        )
        messages.success(request, words % {"tag": frame.tag})
        return redirect("kits")
    return _frame_page(request, frame, form)


@require_safe
@allow(BENCH, OWNER)
def frame_label(request: StaffRequest, tag: str) -> HttpResponse:
    """Send the address label for a frame or its lenses, before it is posted."""
    del request
    frame = frame_by(tag)
    return _label(Dispatch(code=frame.tag, frame=frame, request=frame.request))


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def kit_list(request: StaffRequest) -> HttpResponse:
    """List everything that is to be posted, the kits that wait, and what went missing; take the
    word that all of a tray is in the post.
    """
    form, gone = TrayForm(request.POST or None), list[str]()
    if form.is_bound and form.is_valid():
        gone = _posted_tray(request, form)
        if gone:
            words = ngettext("%(count)s is in the post.", "%(count)s are in the post.", len(gone))
            messages.success(request, words % {"count": len(gone)} + " " + ", ".join(gone))
        if not form.errors:
            return redirect("kits")
    # Where some of a tray went and some did not, something was done: that is no refusal.
    return _kit_list(request, form, status=422 if form.errors and not gone else 200)


def _kit_list(request: StaffRequest, form: TrayForm, *, status: int) -> HttpResponse:
    rows = list(posting_out.frames_to_post()[:100])
    leaving: list[dict[str, Any]] = [
        *({"it": one, "kind": "kit", "day": one.promised_by} for one in kit_stock.to_post()[:100]),
        *({"it": one, "kind": one.state, "day": one.promised_by} for one in rows),
        *(
            {"it": one, "kind": "lenses", "day": one.promised_by}
            for one in posting_out.lenses_to_post()
        ),
    ]
    fetched = [row for row in leaving if _collects(row["it"])]
    facts = {
        "form": form,
        "refused": form if form.errors else None,
        # By the promised day, whatever it is; what has none comes last.
        "leaving": sorted(
            (row for row in leaving if row not in fetched),
            key=lambda row: (row["day"] is None, row["day"], row["kind"]),
        ),
        "fetched": fetched,
        "ticked": {str(one) for one in form["kits"].value() or ()},
        # Most lists are cut, so that the page stays quick on a day when much has piled up.
        "lost": list(intake.lost(timezone.now())[:100]),
        "listed_days": kit_stock.SETTLED_AFTER.days,
        "waiting": list(kit_stock.waiting()[:100]),
        "missing": list(kit_stock.missing()[:100]),
        "wide": True,
    }
    return render(request, "returns/workroom/kits.html", facts, status=status)


def _collects(thing: ReturnedFrame | Request) -> bool:
    asked = thing.request if isinstance(thing, ReturnedFrame) else thing
    return asked is not None and asked.collects


def _posted_tray(request: StaffRequest, form: TrayForm) -> list[str]:
    """Post each thing of a tray; return the codes of what went. What did not stays, and says why.

    Each is a deed of its own, so that one that is refused holds up no other.
    """
    key, at, by = form.cleaned_data["key"], timezone.now(), request.user
    gone, left = [], []
    for code in form.cleaned_data["scans"]:
        try:
            frame = frame_by(read_code(code, prefix="F"))
            _post_by_tag(key=uuid5(key, frame.tag), frame=frame, scanned=code, at=at, by=by)
            gone.append(frame.tag)
        except HingebackError as error:
            form.add_error("scans", f"{code}: {error.message}")
            left.append(code)
    for asked in form.cleaned_data["kits"]:
        try:
            kits.post(key=uuid5(key, asked.reference), request=asked, at=at, by=by)
            gone.append(asked.reference)
        except HingebackError as error:
            form.add_error("kits", f"{asked.reference}: {error.message}")
    if form.errors:
        # Under another key: what went is done, and what is put right here is something else.
        sent: Any = form.data
        form.data = sent = sent.copy()
        sent["key"], sent["scans"] = str(uuid4()), "\n".join(left)
    return gone


def _post_by_tag(
    *, key: UUID, frame: ReturnedFrame, scanned: str, at: datetime, by: Any
) -> Dispatch:
    """Post a frame, or the lenses of one: the tag is the same, and only one of them can wait."""
    earlier = Dispatch.objects.filter(key=key).first()
    is_of_lenses = lenses_wait(frame) if earlier is None else earlier.kind == Dispatch.Kind.LENSES
    rule = posting_out.post_lenses if is_of_lenses else posting_out.post_frame
    return rule(key=key, frame=frame, scanned=scanned, at=at, by=by)


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
    "hand-over": kits.hand_over,
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


def _is_handed_over(request: StaffRequest, form: ActionForm, frame: ReturnedFrame) -> bool:
    scanned = form.cleaned_data["scanned"] if form.is_valid() else ""
    return done(request, form, posting_out.hand_over_frame, frame=frame, scanned=scanned)


def _gone_words(*, at_counter: bool) -> str:
    return _t("%(tag)s is handed over.") if at_counter else _t("%(tag)s is posted.")


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
        "collects": _collects(frame),
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
