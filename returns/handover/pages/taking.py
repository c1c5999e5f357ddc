"""Photos at the bench: taken with the tablet's camera, of a frame or of what is wrong with it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages.attempts import done, found
from returns.bench.pages.finding import frame_by
from returns.filing.pages.forms import Chosen, PhotosField
from returns.filing.rules import photos
from returns.filing.rules.photos import Picture
from returns.grading.pages import wording
from returns.handover.rules import taking
from returns.models import BenchPhoto, Finding, ReturnedFrame
from returns.models.catalogue import ComponentKey


class PhotoForm(ActionForm):
    photos = PhotosField(label=_("Photo"))
    shows = forms.ChoiceField(required=False, label=_("What it shows"))

    def __init__(self, frame: ReturnedFrame, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        choices: Any = self.fields["shows"]
        choices.choices = _shows(frame)
        # Straight to the camera at the back; a desk without one offers its files.
        self.fields["photos"].widget.attrs |= {"capture": "environment", "multiple": False}
        self.fields["photos"].help_text = _t(
            "JPEG, PNG, WebP or HEIC, at most %(megabytes)s MB. We keep the picture only, not "
            "where and when it was taken. No face and no name in it, please."
        ) % {"megabytes": settings.PHOTO_BYTES_MAX // 1_000_000}

    def clean_photos(self) -> list[Picture]:
        chosen: Chosen = self.cleaned_data["photos"]
        if chosen.slips:
            raise forms.ValidationError(chosen.slips)
        return chosen.pictures


@require_http_methods(["GET", "HEAD", "POST"])
@allow(BENCH, OWNER)
def page(request: StaffRequest, tag: str) -> HttpResponse:
    """Show a frame's photos from the bench, and take another."""
    frame = frame_by(tag)
    form = PhotoForm(frame)
    if request.method == "POST":
        form = PhotoForm(frame, request.POST, request.FILES)
        data = _facts(form) if form.is_valid() else {}
        if done(request, form, taking.take, frame=frame, **data):
            messages.success(request, _t("The photo is kept with %(tag)s.") % {"tag": frame.tag})
            return redirect("frame-photos", frame.tag)
    rows = frame.bench_photos.select_related("taken_by")
    facts = {
        "frame": frame,
        "form": form if frame.ended_at is None else None,
        "rows": [(one, words(one), ActionForm(auto_id=f"photo{one.pk}_%s")) for one in rows],
    }
    status = 422 if form.errors else 200
    return render(request, "returns/handover/photos.html", facts, status=status)


def _facts(form: PhotoForm) -> dict[str, Any]:
    return {"pictures": form.cleaned_data["photos"], "shows": form.cleaned_data["shows"]}


@require_POST
@allow(BENCH, OWNER)
def delete(request: StaffRequest, tag: str, file_name: str) -> HttpResponse:
    """Delete a photo that should not have been taken."""
    photo = found(BenchPhoto.objects.select_related("frame"), file_name=file_name, frame__tag=tag)
    if done(request, ActionForm(request.POST), taking.delete, photo=photo):
        messages.success(request, _t("The photo is deleted."))
    else:
        messages.error(request, _t("It was not done. Press the button once more."))
    return redirect("frame-photos", tag)


@require_safe
@allow(BENCH, OWNER)
def picture(request: StaffRequest, file_name: str) -> HttpResponse:
    """Send a photo of the bench. Only names that the table knows are ever opened."""
    del request
    known = BenchPhoto.objects.filter(file_name=file_name).first()
    if known is None:
        raise NotFound()
    answer = HttpResponse(photos.read(known.file_name), content_type="image/jpeg")
    answer.headers["Cache-Control"] = "no-store"
    return answer


def words(seen: BenchPhoto | Finding) -> str:
    """Say what a photo shows, or what was found."""
    if not seen.component:
        return _t("the whole frame")
    part = str(wording.component(seen.component))
    return f"{part}: {wording.defect(seen.defect)}" if seen.defect else part


def _shows(frame: ReturnedFrame) -> list[tuple[str, str]]:
    """Return what a photo may show: all of it, what the latest look-over found, each part."""
    latest = frame.gradings.order_by("-at", "-pk").first()
    seen = latest.findings.all() if latest else []
    found_ = {f"{one.component}|{one.defect}": words(one) for one in seen}
    return [
        ("", _t("the whole frame")),
        *found_.items(),
        *((f"{key}|", str(wording.component(key))) for key in ComponentKey.values),
    ]
