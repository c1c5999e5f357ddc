"""At an open parcel: a part of a frame that is here already joins it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScanField, WeighedForm
from inventory.staff.queries import BENCH, OWNER
from returns.arriving.pages import scales
from returns.arriving.rules import REASON_LENGTH_MAX
from returns.bench.pages.finding import frame_by, parcel_by, read_code
from returns.joining import rules
from returns.joining.rules import PartIn
from returns.models import LaterPart, Parcel
from returns.models.catalogue import ComponentKey


class JoinForm(WeighedForm):
    """One part on the scale, and the tag of its frame."""

    field_order = ["key", "scanned", "mass", "scale", "component", "cleaned", "reason"]
    scanned = ScanField(
        kind="F", label=_("Tag of its frame"), help_text=_("Scan the tag, or type its code.")
    )
    component = forms.ChoiceField(
        label=_("What part it is"), choices=[("", _("not known")), *ComponentKey.choices],
        required=False,
    )  # fmt: skip
    cleaned = forms.BooleanField(required=False, label=_("It is washed, disinfected and dry"))
    reason = forms.CharField(
        required=False,
        max_length=REASON_LENGTH_MAX,
        label=_("Why it weighs so much"),
        help_text=_("Only where you are asked. Name no customer here."),
    )

    def part(self, parcel: Parcel) -> PartIn:
        """What is weighed. BadInput or NotFound where the tag is no frame's."""
        data = {name: data for name, data in self.cleaned_data.items() if name != "key"}
        frame = frame_by(read_code(data["scanned"], prefix="F"))
        return PartIn(parcel=parcel, frame=frame, **data)


class TakeOutForm(ActionForm):
    reason = forms.CharField(
        label=_("Why it is taken out"),
        max_length=REASON_LENGTH_MAX,
        help_text=_("It is kept with the reversal. Name no customer here."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def join(request: StaffRequest, code: str) -> HttpResponse:
    """Weigh a part, and what has joined a frame from this parcel."""
    parcel = parcel_by(code)
    if request.method != "POST":
        return _shown(request, parcel, JoinForm(initial=scales.last(request)))
    form = JoinForm(request.POST)
    row = form.attempt(_joined, form=form, parcel=parcel, by=request.user) if form.is_valid() else 0
    if isinstance(row, LaterPart):
        scales.remember(request, row.reading.scale)
        words = _t("The part has joined %(tag)s. Look the frame over again if it was decided.")
        messages.success(request, words % {"tag": row.frame.tag})
        return redirect("frame", row.frame.tag)
    return _shown(request, parcel, form)


def _joined(*, key: Any, form: JoinForm, parcel: Parcel, by: Any) -> LaterPart:
    try:
        part = form.part(parcel)
    except NotFound as error:
        raise BadInput(_t("There is no frame of this tag."), field="scanned") from error
    except BadInput as error:
        raise BadInput(error.message, field="scanned") from error
    return rules.join(key=key, part=part, at=timezone.now(), by=by)


@require_POST
@allow(BENCH, OWNER)
def take_out(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """The part was another frame's."""
    parcel = parcel_by(code)
    row = parcel.later_parts.filter(pk=number).first()
    if row is None:
        raise NotFound()
    form = TakeOutForm(request.POST, auto_id=f"out-{row.pk}-%s")
    if form.is_valid():
        done = form.attempt(
            rules.take_out,
            part=row,
            reason=form.cleaned_data["reason"],
            at=timezone.now(),
            by=request.user,
        )
        if done is not None:
            messages.success(request, _t("It is taken out of the frame; its parcel is open again."))
            return redirect("parcel-part", parcel.code)
    return _shown(request, parcel, JoinForm(initial=scales.last(request)), {row.pk: form})


def _shown(
    request: StaffRequest,
    parcel: Parcel,
    form: JoinForm,
    tried: dict[int, TakeOutForm] | None = None,
) -> HttpResponse:
    joined = parcel.later_parts.select_related("frame", "reading").filter(undone_at=None)
    forms_out = tried or {}
    facts = {
        "parcel": parcel,
        "form": form,
        "joined": [
            {"it": row, "form": forms_out.get(row.pk) or TakeOutForm(auto_id=f"out-{row.pk}-%s")}
            for row in joined
        ],
    }
    failed = bool(tried) or (form.is_bound and form.errors)
    return render(request, "returns/bench/join.html", facts, status=422 if failed else 200)
