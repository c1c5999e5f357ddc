"""The two ways in: asking for spare screws, and sending a frame back."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import BadInput
from returns import intake, kits
from returns.models import FrameModel, Request
from returns.pages.customer import drawing, limits
from returns.pages.customer.forms import FilingForm, ReturnForm, ScrewsForm
from returns.pages.customer.opening import once_open
from returns.pages.customer.personal import personal

TOO_MANY = 429


@require_safe
@once_open
def start(request: HttpRequest) -> HttpResponse:
    """Which of the two it is."""
    models = FrameModel.objects.filter(active=True, components__in_kit=True).distinct()
    return render(request, "returns/customer/start.html", {"models": models})


@require_http_methods(["GET", "HEAD", "POST"])
@once_open
@personal
def ask_screws(request: HttpRequest) -> HttpResponse:
    """Ask for a spare kit."""
    if request.method != "POST":
        return _page(request, ScrewsForm(initial=_preset(request)), "ask_screws.html")
    if not limits.may_file(request):
        return _too_many(request)
    form = ScrewsForm(request.POST)
    if form.is_valid():
        filed = form.attempt(intake.ask_screws, filing=form.filing(), at=timezone.now())
        if filed is not None:
            return redirect("story", intake.link_secret(filed))
    return _page(request, _sendable_again(form), "ask_screws.html")


@require_http_methods(["GET", "HEAD", "POST"])
@once_open
@personal
def ask_return(request: HttpRequest) -> HttpResponse:
    """Send a frame back; who only needs a screw is shown the shorter way first."""
    if request.method != "POST":
        return _page(request, ReturnForm(initial=_preset(request)), "ask_return.html")
    if not limits.may_file(request):
        return _too_many(request)
    form = ReturnForm(request.POST, request.FILES)
    if form.is_valid():
        if _shorter_way(form) and "go_on" not in request.POST:
            return _page(request, form, "ask_return.html", steer=True)
        filed = form.attempt(
            intake.file_return,
            filing=form.filing(),
            at=timezone.now(),
            pictures=form.cleaned_data["photos"],
        )
        if filed is not None:
            return redirect("story", intake.link_secret(filed))
    return _page(request, _sendable_again(form), "ask_return.html")


def _shorter_way(form: FilingForm) -> bool:
    typed = form.cleaned_data
    mends = intake.screws_would_do(component=typed["component"], defect=typed["defect"])
    return mends and kits.has_kit(typed["colourway"].model)


def _sendable_again(form: FilingForm) -> FilingForm:
    """A form whose key is used up for other content gets a new one, so that it can be sent.

    This happens to somebody who goes back in the browser, changes something and sends again.
    """
    used = form.cleaned_data.get("key")
    if used is None or not Request.objects.filter(key=used).exists():
        return form
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
    request: HttpRequest, form: FilingForm, template: str, *, steer: bool = False
) -> HttpResponse:
    facts = {"form": form, "steer": steer, "view_box": drawing.VIEW_BOX}
    return render(request, f"returns/customer/{template}", facts)


def _too_many(request: HttpRequest) -> HttpResponse:
    error = BadInput(_("Too many requests came from your network. Wait an hour and try again."))
    return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)
