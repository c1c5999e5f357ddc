"""Pages that are only read: the fitting guide, and the notice about frames and data."""

from __future__ import annotations

from hashlib import sha256

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.errors import NotFound
from inventory.models import WorkshopLogo
from returns.filing.pages import drawing
from returns.filing.rules import intake
from returns.kits import queries as kit_stock
from returns.models import FrameModel


@require_safe
def guide(request: HttpRequest, model: str) -> HttpResponse:
    """How to fit the screws of one model."""
    found = FrameModel.objects.filter(code=model).first()
    if found is None or not kit_stock.has_kit(found):
        raise NotFound()
    kit = kit_stock.contents(found)
    facts = {
        "model": found,
        "kit": kit.items(),
        "only": next(iter(kit)) if len(kit) == 1 else None,
        "knuckles": drawing.KNUCKLES,
        "tongue": drawing.TONGUE,
        "parts": drawing.shapes(found.rim).items(),
    }
    return render(request, "returns/customer/guide.html", facts)


@require_safe
def imprint(request: HttpRequest) -> HttpResponse:
    """Who runs this workshop and how it is reached."""
    return render(request, "returns/customer/imprint.html")


@require_safe
def logo(request: HttpRequest, digest: str) -> HttpResponse:
    """The workshop's picture. Its address names its content, so a browser may keep it for good."""
    del request
    found = WorkshopLogo.objects.first()
    if found is None or sha256(found.png).hexdigest()[:16] != digest:
        raise NotFound()
    answer = HttpResponse(bytes(found.png), content_type="image/png")
    answer["Cache-Control"] = "public, max-age=31536000, immutable"
    return answer


@require_safe
def notice(request: HttpRequest) -> HttpResponse:
    """What happens with a frame, with lenses and with data."""
    return render(request, "returns/customer/notice.html", {"version": intake.NOTICE_VERSION})
