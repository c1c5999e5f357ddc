"""What a private link opens: the story, its slip and photos, and what may still be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory import clock
from inventory.errors import BadInput, NotFound, StaleState
from inventory.furniture.pages.access import allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Event, Part
from inventory.staff.queries import BENCH, OWNER
from returns.filing.pages import slip_pdf
from returns.filing.pages.forms import AddressForm, country_name, sent_abroad_to, troubles_in_words
from returns.filing.queries import frames, terms, waiting
from returns.filing.rules import intake, photos
from returns.furniture import limits
from returns.kits import queries as kit_stock
from returns.models import DraftPhoto, Photo, QuestionPhoto, Request
from returns.story.pages import loop
from returns.story.pages.personal import REFERRER_WITHOUT_FORMS, personal
from returns.story.queries import story as stories
from returns.story.sums.states import RequestState

TOO_MANY: Final = 429
# So long after the filing the page says thank you for it.
_FRESH: Final = timedelta(hours=1)


@require_safe
@personal
def story(request: HttpRequest, secret: str) -> HttpResponse:
    """Everything so far and what is next."""
    filed = intake.by_secret(secret)
    now = timezone.now()
    data = stories.of(filed, at=now)
    facts = {
        "filed": filed,
        "secret": secret,
        "story": data,
        "loop": loop.picture(data.way),
        "waits_for_us": _waits_for_us(filed, data, now),
        "late": data.promised_by is not None and data.promised_by < clock.day_of(now),
        "country": country_name(filed.person.country) if filed.person else "",
        "abroad": sent_abroad_to(filed),
        "filed_frames": _filed_frames(filed),
        "here": data.stations[data.station],
        "cost_kind": terms.cost_kind(filed),
        "is_kit": filed.kind == Request.Kind.SCREWS,
        "kit": _kit(filed),
        "may_withdraw": intake.may_withdraw(filed),
        "may_change_address": intake.may_change_address(filed),
        "may_report_missing": intake.may_report_missing(filed, at=now),
        "slip_open": _slip_open(filed),
        # Thanks only until something has happened: a later turn makes it an old page with a new
        # greeting.
        "is_fresh": filed.filed_at > now - _FRESH and len(data.turns) == 1,
        # Only a mail that went out may be promised on the page; without a mail server none does.
        "is_mailed": _is_mailed(filed),
        "may_say_posted": filed.state == RequestState.AWAITED,
        "may_wake": filed.state == RequestState.RESTING,
        "by": waiting.last_day(filed) if filed.state == RequestState.AWAITED else None,
        "today": clock.day_of(now),
    }
    return render(request, "returns/customer/story.html", facts)


def _filed_frames(filed: Request) -> list[dict[str, Any]]:
    """Each frame with what was said of it, in the words of the form, and its photos."""
    pictures = list(filed.photos.order_by("pk"))
    return [
        {
            "it": one,
            "troubles": troubles_in_words(one),
            "photos": [picture for picture in pictures if picture.number == one.number],
        }
        for one in frames.of(filed)
    ]


def _kit(filed: Request) -> Iterable[tuple[Part, int]]:
    if filed.kind != Request.Kind.SCREWS:
        return []
    return kit_stock.contents_for(filed.kit_for).items()


def _is_mailed(filed: Request) -> bool:
    """Whether a mail with the link has left the house."""
    return Event.objects.filter(name="letters.send", subject=filed.reference).exists()


def _waits_for_us(filed: Request, data: stories.Story, at: datetime) -> bool:
    """Whether the next action is ours, which words about being late say already."""
    if filed.ended_at is not None or filed.state == RequestState.AWAITED or _is_over(data):
        return False
    if data.asked:
        return False
    if filed.state == RequestState.WAITING_STOCK or intake.may_report_missing(filed, at=at):
        return False
    return data.promised_by is None or data.promised_by >= clock.day_of(at)


def _is_over(data: stories.Story) -> bool:
    return data.station == len(data.stations) - 1


def _slip_open(filed: Request) -> bool:
    # Who has a partner's slip, or brought the frame to the counter, posts nothing.
    by_hand = hasattr(filed, "partner_slip") or hasattr(filed, "walk_in")
    return filed.kind == Request.Kind.SEND_BACK and filed.ended_at is None and not by_hand


@require_safe
@personal
def slip(request: HttpRequest, secret: str) -> HttpResponse:
    """The slip for the parcel, as PDF in A4 or A6."""
    filed = intake.by_secret(secret)
    if not _slip_open(filed):
        raise NotFound()
    if not limits.may_draw(filed.reference):
        error = BadInput(_("This slip was drawn often just now. Wait ten minutes and try again."))
        return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)
    size = "a6" if request.GET.get("size", "").lower() == "a6" else "a4"
    response = HttpResponse(slip_pdf.make(filed, size=size), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{filed.reference}-{size}.pdf"'
    response["Referrer-Policy"] = REFERRER_WITHOUT_FORMS
    return response


@require_safe
@personal
def story_photo(request: HttpRequest, secret: str, file_name: str) -> HttpResponse:
    """One photo of one's own request."""
    del request
    # Asked by both: the name of a file alone opens no photo of somebody else's request.
    filed = intake.by_secret(secret)
    asked = QuestionPhoto.objects.filter(question__request=filed, file_name=file_name)
    return _picture(asked.first() or filed.photos.filter(file_name=file_name).first())


@require_safe
@allow(BENCH, OWNER)
def photo(request: HttpRequest, file_name: str) -> HttpResponse:
    """One photo, for the bench."""
    del request
    asked = QuestionPhoto.objects.filter(file_name=file_name).first()
    return _picture(asked or Photo.objects.filter(file_name=file_name).first())


@require_safe
@personal
def draft_photo(request: HttpRequest, form: UUID, file_name: str) -> HttpResponse:
    """One photo of a form that is not filed yet, for who has the form's key."""
    del request
    return _picture(DraftPhoto.objects.filter(form=form, file_name=file_name).first())


def _picture(found: Photo | DraftPhoto | QuestionPhoto | None) -> HttpResponse:
    if found is None:
        raise NotFound()
    # Sent by us and not by the web server: the folder lies outside everything that it hands out.
    response = HttpResponse(photos.read(found.file_name), content_type="image/jpeg")
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = REFERRER_WITHOUT_FORMS
    response["Content-Disposition"] = "inline"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def withdraw(request: HttpRequest, secret: str) -> HttpResponse:
    """Take the request back, after one question."""
    return once_confirmed(request, secret, intake.withdraw, "withdraw.html")


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def missing(request: HttpRequest, secret: str) -> HttpResponse:
    """It never came."""
    return once_confirmed(request, secret, intake.report_missing, "missing.html")


def once_confirmed(
    request: HttpRequest, secret: str, rule: Callable[..., Any], template: str
) -> HttpResponse:
    """Ask once on a page of its own, then do it and show the story."""
    filed = intake.by_secret(secret)
    form = ActionForm(request.POST or None)
    if form.is_valid() and form.attempt(rule, request=filed, at=timezone.now()) is not None:
        return redirect("story", secret)
    facts = {"form": form, "filed": filed, "secret": secret}
    return render(request, f"returns/customer/{template}", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def address(request: HttpRequest, secret: str) -> HttpResponse:
    """Change where it is posted to, as long as it has not been."""
    filed = intake.by_secret(secret)
    if filed.person is None or filed.person.erased_at is not None:
        raise StaleState()
    names = [name for name in AddressForm.base_fields if name != "key"]
    known = {name: getattr(filed.person, name) for name in names}
    form = AddressForm(request.POST or None, initial=known)
    if form.is_valid():
        contact, at = form.contact(), timezone.now()
        done = form.attempt(intake.change_address, request=filed, contact=contact, at=at)
        if done is not None:
            return redirect("story", secret)
    facts = {"form": form, "filed": filed, "secret": secret}
    return render(request, "returns/customer/address.html", facts)
