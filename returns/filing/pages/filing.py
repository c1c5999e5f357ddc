"""The two ways in: asking for spare screws, and sending a frame back."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import BadInput
from returns.filing.pages import drawing
from returns.filing.pages.forms import (
    ADDRESS_FIELDS,
    FilingForm,
    FrameForm,
    ReturnForm,
    ScrewsForm,
    blocks_in,
)
from returns.filing.pages.opening import once_open
from returns.filing.rules import drafts, intake, twins
from returns.filing.rules.photos import Picture
from returns.furniture import limits
from returns.kits import queries as kit_stock
from returns.models import DraftPhoto, FrameModel, PartnerSlip, Request
from returns.story.pages import loop
from returns.story.pages.personal import filing_page, personal

TOO_MANY = 429
# Either answer to the question whether a screw would do says that the frame is to come back.
_GO_ON: Final = {"go_on", "another"}
# Either button changes how many frames the form asks for, and files nothing.
_FRAMES: Final = {"add_frame", "drop_frame"}
_TRAIL: Final = [
    ("frame", gettext_lazy("Frame")),
    ("trouble", gettext_lazy("Trouble")),
    ("wish", gettext_lazy("Wish")),
    ("address", gettext_lazy("Address")),
    ("send", gettext_lazy("Send")),
]


@require_safe
@once_open
def start(request: HttpRequest) -> HttpResponse:
    """Which of the two it is."""
    models = FrameModel.objects.filter(active=True, components__in_kit=True).distinct()
    facts = {"models": models, "parts": drawing.shapes().items(), "signs": loop.PROMISE}
    return render(request, "returns/customer/start.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@once_open
@filing_page
def ask_screws(request: HttpRequest) -> HttpResponse:
    """Ask for a spare kit."""
    if request.method != "POST":
        return _page(request, ScrewsForm(initial=_preset(request)), "ask_screws.html")
    if not limits.may_file(request):
        return _too_many(request)
    form, at = ScrewsForm(request.POST), timezone.now()
    if form.is_valid():
        twin = _twin(form, Request.Kind.SCREWS, at)
        if twin is not None:
            return _page(request, form, "ask_screws.html", twin=twin)
        filed = form.attempt(intake.ask_screws, filing=form.filing(), at=at)
        if filed is not None:
            return redirect("story", intake.link_secret(filed))
    return _page(request, _sendable_again(form), "ask_screws.html")


@require_http_methods(["GET", "HEAD", "POST"])
@once_open
@filing_page
def ask_return(request: HttpRequest) -> HttpResponse:
    """Send a frame back; who only needs a screw is shown the shorter way first."""
    return return_page(request, _by_post())


@dataclass(frozen=True, slots=True)
class Way:
    """How a return is filed: where its form goes, which rule takes it, and with whose slip."""

    action: str
    rule: Callable[..., Request]
    slip: PartnerSlip | None = None


def _by_post() -> Way:
    return Way(reverse("ask-return"), intake.file_return)


def return_page(request: HttpRequest, way: Way) -> HttpResponse:
    """The form of a return, empty or as it was sent."""
    if request.method != "POST":
        return _page(request, ReturnForm(initial=_preset(request)), "ask_return.html", way=way)
    if not limits.may_file(request):
        return _too_many(request)
    return _sent_back(request, way)


def _sent_back(request: HttpRequest, way: Way) -> HttpResponse:
    form, at = ReturnForm(request.POST, request.FILES), timezone.now()
    # Cleaned before anything else, since the photos are kept even if another field is refused: a
    # browser never sends them back by itself.
    form.is_valid()
    _keep_photos(form, at)
    if _FRAMES & request.POST.keys():
        return _page(request, _with_other_frames(form), "ask_return.html", way=way)
    if form.is_valid():
        # A slip is filed once anyhow, and its frame may be on the way.
        if way.slip is None and _shorter_way(form) and not _GO_ON & request.POST.keys():
            return _page(request, form, "ask_return.html", way=way, steer=True)
        twin = None if way.slip else _twin(form, Request.Kind.SEND_BACK, at)
        if twin is not None:
            return _page(request, form, "ask_return.html", way=way, twin=twin)
        filed = form.attempt(
            way.rule,
            filing=form.filing(),
            at=at,
            pictures=_pictures(form),
        )
        if filed is not None:
            # After the filing has held. Dying in between leaves copies, which `prune` takes after a
            # day.
            drafts.clear(form.cleaned_data["key"])
            return redirect("story", intake.link_secret(filed))
    return _page(request, _sendable_again(form), "ask_return.html", way=way)


@require_safe
@personal
def another(request: HttpRequest, secret: str) -> HttpResponse:
    """The form for one more frame of the same person, who need not type the address again."""
    person = intake.person_of(intake.by_secret(secret))
    names = (*ADDRESS_FIELDS, "email")
    known = {name: getattr(person, name) for name in names}
    form = ReturnForm(initial=known)
    return _page(request, form, "ask_return.html", way=_by_post(), is_another=True)


def _keep_photos(form: FilingForm, at: datetime) -> None:
    """Put the photos that came with a form beside those that came before."""
    key = form.cleaned_data.get("key")
    if key is None:
        return
    drafts.drop(form=key, file_names=form.data.getlist("drop"))  # type: ignore[attr-defined]
    for one in form.frame_forms:
        try:
            drafts.add(form=key, pictures=one.pictures, at=at, number=_block(one))
        except BadInput as error:
            one.add_error("photos", error.message)


def _block(form: FrameForm) -> int:
    return getattr(form, "block", 1)


def _pictures(form: ReturnForm) -> list[Picture]:
    """The kept photos with the numbers that their frames have in the request."""
    numbers = {_block(one): number for number, one in enumerate(form.frame_forms, start=1)}
    kept = drafts.pictures(form.cleaned_data["key"])
    return [
        replace(picture, number=numbers[picture.number])
        for picture in kept
        if picture.number in numbers
    ]


def _with_other_frames(form: ReturnForm) -> ReturnForm:
    """The same form with one frame more or less; what was typed and sent is kept, unjudged."""
    data = form.data.copy()  # type: ignore[attr-defined]
    blocks = blocks_in(data)
    out = data.get("drop_frame", "")
    if "add_frame" in data and form.may_add:
        blocks.append(max(blocks, default=1) + 1)
    elif out in [str(block) for block in blocks]:
        blocks.remove(int(out))
        if key := form.cleaned_data.get("key"):
            drafts.drop_frame(form=key, number=int(out))
    data.setlist("frame", [str(block) for block in blocks])
    changed = ReturnForm(data)
    changed.judge_nothing()
    # Only a photo's fault is told now: its file is not here when the form is sent again.
    before = {_block(one): one for one in form.frame_forms}
    for one in changed.frame_forms:
        known = before.get(_block(one))
        for fault in known.errors.get("photos", []) if known else []:
            one.add_error("photos", fault)
    return changed


def _kept_photos(form: FilingForm) -> list[DraftPhoto]:
    """What is kept for the key that a form goes on with, which may be a new one by now."""
    before = getattr(form, "cleaned_data", {}).get("key")
    now = str(form["key"].value() or "")
    if before is None or "photos" not in form.fields:
        return []
    if now != str(before):
        drafts.rebind(before=before, form=uuid.UUID(now))
    return drafts.of(uuid.UUID(now))


def _twin(form: FilingForm, kind: Request.Kind, at: datetime) -> Request | None:
    """The same request under another key, of which nobody has said that it is another frame.

    It meets who went back without scripts, or typed all of it again because no answer came.
    """
    if "another" in form.data:
        return None
    key = form.cleaned_data["key"]
    return twins.of(key=key, filing=form.filing(), kind=kind, at=at)


def _shorter_way(form: FilingForm) -> bool:
    typed = form.cleaned_data
    mends = intake.screws_would_do(component=typed["component"], defect=typed["defect"])
    colourway = typed["colourway"]
    if len(form.frame_forms) > 1 or typed.get("more_component_1") or typed.get("more_component_2"):
        return False
    return mends and colourway is not None and kit_stock.has_kit(colourway.model)


def _sendable_again(form: FilingForm) -> FilingForm:
    """A form whose key is used up for other content gets a new one, so that it can be sent.

    This happens to somebody who goes back in the browser, changes something and sends again.
    """
    used = form.cleaned_data.get("key")
    if used is None or not Request.objects.filter(key=used).exists():
        return form
    # The sent data are immutable, as they should be: a copy goes on with the new key.
    data = QueryDict(mutable=True)
    data.update(form.data)
    data["key"] = str(uuid.uuid4())
    form.data = data
    return form


def _preset(request: HttpRequest) -> dict[str, Any]:
    """What a link from elsewhere may choose beforehand: never anything about a person."""
    wanted = request.GET.get("frame", "")
    return {"colourway": wanted} if wanted.isascii() and wanted.isdigit() else {}


def _page(
    request: HttpRequest,
    form: FilingForm,
    template: str,
    *,
    way: Way | None = None,
    steer: bool = False,
    twin: Request | None = None,
    is_another: bool = False,
) -> HttpResponse:
    kept = _kept_photos(form)
    for one in form.frame_forms:
        one.kept = [photo for photo in kept if photo.number == _block(one)]
    facts = {
        "form": form,
        "way": way,
        "steer": steer,
        "is_another": is_another,
        "twin": twin,
        "pressed": "another" if twin else "go_on",
        "trail": [part for part in _TRAIL if part[0] != "wish" or "wish" in form.fields],
        "view_box": drawing.VIEW_BOX,
        "frames_max": intake.FRAMES_MAX,
        "next_frame": len(form.frame_forms) + 1,
        "is_added": "add_frame" in form.data,
    }
    return render(request, f"returns/customer/{template}", facts)


def _too_many(request: HttpRequest) -> HttpResponse:
    error = BadInput(_("Too many requests came from your network. Wait an hour and try again."))
    return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)
