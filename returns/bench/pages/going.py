"""From any code, scanned or typed, to the page of what it names."""

from __future__ import annotations

from collections.abc import Callable

from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, ResolverMatch, resolve, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from inventory.errors import BadInput
from inventory.furniture.pages import frame
from inventory.furniture.pages.access import allow
from inventory.ledger.queries import naming, scanned
from inventory.ledger.sums.scans import bare
from inventory.models import (
    GrindRun,
    Load,
    Lot,
    Movement,
    Part,
    Place,
    PlaceKind,
    RecipeCard,
)
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER
from returns.bench.pages.finding import read_code
from returns.devices.pages import TEST_CODE
from returns.handover import queries as handover
from returns.handover import sums as shelf
from returns.models import Dispatch, Parcel, PartnerSlip, Request, ReturnedFrame
from returns.story.sums import codes

CODE_LENGTH_MAX = 200
NUMBER_MAX = 2**63 - 1

_NAMED_BY_PAGE: dict[str, str | Promise] = {
    "bench-request": gettext_lazy("This is the code of a customer's request."),
    "parcel": gettext_lazy("This is the code of a parcel."),
    "frame": gettext_lazy("This is the code of a returned frame."),
    "boxes": gettext_lazy("This is the code of a regrind box."),
    "heat": gettext_lazy("This is the code of a flake lot."),
    "run": gettext_lazy("This is the code of a grind run."),
    "shelf": gettext_lazy("This is the code of a shelf."),
    "goods-load": gettext_lazy("This is the code of a load of goods."),
    "card": gettext_lazy("This is the code of a recipe card."),
    "movement": gettext_lazy("This is the number of a movement in the ledger."),
}
_ROLES: dict[str, str | Promise] = {
    BENCH: gettext_lazy("the bench"),
    ACCOUNTANT: gettext_lazy("the accounts"),
    OWNER: gettext_lazy("the owner"),
}


@require_safe
@allow(BENCH, ACCOUNTANT, OWNER)
def go(request: HttpRequest, code: str = "") -> HttpResponse:
    """Redirect to what the code names, or say plainly why it leads nowhere for this reader."""
    # PostgreSQL refuses a NUL in a text with an error, SQLite looks it up: taken out before either.
    typed = (code or request.GET.get("code", ""))[:CODE_LENGTH_MAX].replace("\0", "?").strip()
    if not typed:
        return render(request, "returns/bench/go.html", {"typed": "", "why": ""})
    try:
        address = where(typed)
    except BadInput as error:
        return _nothing(request, typed, error.message)
    if not address:
        return _nothing(request, typed, _("The code is well formed, but nothing here has it."))
    # Asked before the redirect: the page itself would answer with a bare refusal, and this one can
    # name who to ask.
    page = resolve(address.partition("#")[0].partition("?")[0])
    openers: frozenset[str] = getattr(page.func, "roles", frame.STAFF)
    if not openers & frame.roles(request):
        return _not_for_this_role(request, typed, page, openers)
    return redirect(address)


def _not_for_this_role(
    request: HttpRequest, typed: str, page: ResolverMatch, openers: frozenset[str]
) -> HttpResponse:
    """Say what the code is and who may open it; nothing of what lies behind it."""
    facts = {
        "typed": typed,
        "named": _NAMED_BY_PAGE.get(page.url_name or "", _("This code is known here.")),
        "openers": [words for role, words in _ROLES.items() if role in openers],
    }
    return render(request, "returns/bench/go_closed.html", facts, status=403)


def _nothing(request: HttpRequest, typed: str, why: str) -> HttpResponse:
    facts = {"typed": typed, "why": why}
    return render(request, "returns/bench/go.html", facts, status=404)


def where(typed: str) -> str:
    """Return the address of what a code names, or "" when nothing has it. BadInput if no code."""
    text = bare(typed)
    number = text.removeprefix("#").strip()
    # `isdigit` is true of "²" as well, which `int` refuses.
    if number.isascii() and number.isdigit():
        return _movement(int(number))
    # Before the check character is asked for: a readable code has none and would be refused as a
    # slip.
    if text == TEST_CODE:
        return reverse("devices")
    plain = _place_or_own_code(text) or _shelf(text)
    if plain:
        return plain
    code = read_code(text)
    return _BY_KIND[codes.kind_of(code)](code)


def _shelf(text: str) -> str:
    """A shelf that something lies or lay on; a printed label of one leads there before that."""
    try:
        name = shelf.code_on_label(text) or handover.known(text)
    except ValueError:
        return ""
    return reverse("shelf", args=[name]) if name else ""


def _movement(number: int) -> str:
    # Beyond 64 bits the two databases fail in ways of their own; no movement has such a number.
    if number > NUMBER_MAX or not Movement.objects.filter(number=number).exists():
        return ""
    return _first(("movement", [number]), ("months", []))


def _place_or_own_code(code: str) -> str:
    """Look for readable codes: boxes and bins carry them, and older lots and runs may."""
    place = scanned.alike(Place.objects.select_related("part", "lot"), code).first()
    if place is not None:
        return _place(place)
    part = scanned.part_of(code)
    if part is not None:
        return _bin(part)
    for rows, go_to in (
        (Lot.objects, _lot),
        (GrindRun.objects, _run),
        (Dispatch.objects, _dispatch),
    ):
        found = rows.filter(code__iexact=code).first()
        if found is not None:
            return go_to(found.code)
    return ""


def _shown_at(door: str, model: type[Model], *, by: str = "code") -> Callable[[str], str]:
    """Return what leads from a code to the page of its row, and to nothing when there is none."""

    def page(code: str) -> str:
        found = model._default_manager.filter(**{by: code}).exists()
        return reverse(door, args=[code]) if found else ""

    return page


_frame = _shown_at("frame", ReturnedFrame, by="tag")
_parcel = _shown_at("parcel", Parcel)
_lot = _shown_at("heat", Lot)
_run = _shown_at("run", GrindRun)


def _bin(part: Part) -> str:
    return f"{reverse('stock')}#{naming.bin_code(part.code)}"


def _place(place: Place) -> str:
    if place.kind == PlaceKind.BOX:
        return f"{reverse('boxes')}#{place.code}"
    if place.kind == PlaceKind.LOT and place.lot is not None:
        return _lot(place.lot.code)
    if place.kind == PlaceKind.BIN and place.part is not None:
        return _bin(place.part)
    return _first(("place", [place.code]), ("stock", []))


def _request(code: str) -> str:
    if Request.objects.filter(reference=code).exists():
        return reverse("bench-request", args=[code])
    slip = PartnerSlip.objects.filter(code=code).select_related("parcel").first()
    if slip is None:
        return ""
    # Not filed yet: where its frame is, or where its box is booked.
    frame = slip.frames.order_by("-pk").first()
    if frame is not None:
        return _frame(frame.tag)
    return _parcel(slip.parcel.code) if slip.parcel else f"{reverse('partner-box')}?slip={code}"


def _box(code: str) -> str:
    place = Place.objects.filter(code=code).first()
    return _place(place) if place else ""


def _dispatch(code: str) -> str:
    sent = Dispatch.objects.filter(code=code).select_related("frame", "request").first()
    if sent is None:
        return ""
    if sent.frame is not None:
        return _frame(sent.frame.tag)
    return _request(sent.request.reference) if sent.request else ""


_BY_KIND: dict[str, Callable[[str], str]] = {
    "request": _request,
    "frame": _frame,
    "parcel": _parcel,
    "box": _box,
    "lot": _lot,
    "dispatch": _dispatch,
    "grind run": _run,
    "load of goods": _shown_at("goods-load", Load),
    "recipe card": _shown_at("card", RecipeCard),
}


def _first(*candidates: tuple[str, list[object]]) -> str:
    """Return the first of several pages that is installed; today's page when none is."""
    for name, args in candidates:
        try:
            return reverse(name, args=args)
        except NoReverseMatch:
            continue
    return reverse("bench")
