"""What the public notice promises a customer: a copy of what is held, and an earlier deletion.

Each request has a person of its own. Others under the same email are named, and answered each for
itself: nobody has proved that an email belongs to who typed it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Event, Workshop
from inventory.staff.queries import OWNER
from returns.bench.pages.finding import read_code
from returns.customers import rules as people
from returns.kits import queries as kit_stock
from returns.models import BenchPhoto, Person, Request
from returns.story.sums.states import RequestState

OTHERS_SHOWN_MAX = 200
SEARCHES_SHOWN = 50

STATES: dict[str, str | Promise] = {
    RequestState.AWAITED: gettext_lazy("its parcel is awaited"),
    RequestState.ARRIVED: gettext_lazy("its frame is in the house"),
    RequestState.WAITING_STOCK: gettext_lazy("its kit waits for parts"),
    RequestState.RESERVED: gettext_lazy("its kit is to be posted"),
    RequestState.POSTED: gettext_lazy("its kit is posted"),
    RequestState.REPORTED_MISSING: gettext_lazy("its kit is reported missing"),
    RequestState.SETTLED: gettext_lazy("settled"),
    RequestState.WITHDRAWN: gettext_lazy("withdrawn"),
    RequestState.RESTING: gettext_lazy("rests, its parcel never came"),
}
# What ends an open request, so that its address is needed no longer.
_WAYS_ON: dict[str, str | Promise] = {
    RequestState.AWAITED: gettext_lazy(
        "Ask the customer to withdraw it by the private link in our letters. If the parcel is in "
        "the post already, wait for it and let its frame go its way."
    ),
    RequestState.ARRIVED: gettext_lazy(
        "Finish it at the bench first: its frame, or lenses to be posted back, are still here."
    ),
    RequestState.WAITING_STOCK: gettext_lazy(
        "Ask the customer to withdraw it by the private link in our letters, or wait until the kit "
        "can be posted."
    ),
    RequestState.RESERVED: gettext_lazy(
        "Ask the customer to withdraw it by the private link in our letters, or post the kit."
    ),
    RequestState.POSTED: gettext_lazy("It ends by itself %(days)s days after the kit was posted."),
    RequestState.REPORTED_MISSING: gettext_lazy(
        "Send the kit again, or note that it turned up, at the kits."
    ),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """A request, where it stands in words, and what ends it; empty once it has ended."""

    it: Request
    state: str
    way_on: str


class ReferenceForm(forms.Form):
    """The reference of a request, forgiven as every typed code is."""

    reference = forms.CharField(
        label=gettext_lazy("Reference of the request"),
        max_length=200,
        help_text=gettext_lazy("The customer has it from our letters. It begins with Q."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def clean_reference(self) -> str:
        try:
            reference = read_code(self.cleaned_data["reference"], prefix="Q")
        except BadInput as error:
            raise forms.ValidationError(error.message) from error
        if not Request.objects.filter(reference=reference).exists():
            raise forms.ValidationError(_("Nothing was filed under this reference. Check it."))
        return reference


class SearchForm(ActionForm):
    """A piece of a name or email, and why it is looked for."""

    wanted = forms.CharField(
        label=gettext_lazy("Name or email"),
        max_length=people.WANTED_LENGTH[-1],
        help_text=gettext_lazy("A piece of it will do, from three characters."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    reason = forms.CharField(
        label=gettext_lazy("Why you search"),
        max_length=people.REASON_LENGTH[-1],
        help_text=gettext_lazy(
            "Such as “has lost the reference, is on the telephone”. It is kept with your name and "
            "the time, also when their data are deleted: name no customer here."
        ),
    )


class EraseForm(ActionForm):
    sure = forms.BooleanField(
        label=gettext_lazy("I am sure who asks, and no law or claim makes us keep this data.")
    )


@allow(OWNER)
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Ask for the reference. It is posted, so that a name typed by mistake stands in no log."""
    form = ReferenceForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        return redirect("personal-one", form.cleaned_data["reference"])
    return render(
        request, "returns/owner/personal.html", {"form": form}, status=400 if form.errors else 200
    )


@allow(OWNER)
@require_http_methods(["GET", "HEAD", "POST"])
def search(request: StaffRequest) -> HttpResponse:
    """Find a customer who has no reference at hand. Posted, so that the name stands in no log."""
    form = SearchForm(request.POST if request.method == "POST" else None)
    found = None
    if form.is_valid():
        typed = {name: form.cleaned_data[name] for name in ("wanted", "reason")}
        found = form.attempt(people.search, at=timezone.now(), by=request.user, **typed)
    facts = {
        "form": form if found is None else SearchForm(),
        "found": None if found is None else [_standing(filed) for filed in found],
        "is_cut": found is not None and len(found) == people.FOUND_MAX,
    }
    answer = render(
        request, "returns/owner/personal_search.html", facts, status=400 if form.errors else 200
    )
    answer["Cache-Control"] = "no-store"
    return answer


@allow(OWNER)
@require_safe
def searches(request: HttpRequest) -> HttpResponse:
    """Who searched for a customer, when, why, and what came up. Read only: it is the history."""
    rows = Event.objects.filter(name=people.SEARCH).select_related("actor").order_by("-pk")
    page = Paginator(rows, SEARCHES_SHOWN).get_page(request.GET.get("page"))
    return render(request, "returns/owner/personal_searches.html", {"page": page})


@allow(OWNER)
@require_safe
def one(request: HttpRequest, reference: str) -> HttpResponse:
    """Show who filed it, what else was filed under that email, and the two actions."""
    filed = _filed(reference)
    facts: dict[str, Any] = {"filed": filed, "own": _standing(filed), "action": ActionForm()}
    if filed.person is not None and filed.person.erased_at is None:
        facts["person"] = filed.person
        facts["photos"] = filed.photos.order_by("pk")
        facts["taken"] = BenchPhoto.objects.filter(frame__request=filed)
        facts["others"] = [_standing(other) for other in _others(filed, filed.person)]
    return render(request, "returns/owner/personal_one.html", facts)


@allow(OWNER)
@require_POST
def hand_out(request: StaffRequest, reference: str) -> HttpResponse:
    """Send the copy as a JSON file."""
    person = _person(_filed(reference))
    form = ActionForm(request.POST)
    copy = None
    if form.is_valid():
        copy = form.attempt(people.hand_out, person=person, at=timezone.now(), by=request.user)
    if copy is None:
        messages.error(request, _("No copy was made. Try again from this page."))
        return redirect("personal-one", reference)
    text = json.dumps(copy, ensure_ascii=False, indent=2)
    answer = HttpResponse(text, content_type="application/json; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{reference}.json"'
    return answer


@allow(OWNER)
@require_http_methods(["GET", "HEAD", "POST"])
def erase(request: StaffRequest, reference: str) -> HttpResponse:
    """Ask, with what goes, what stays and what cannot be undone; then erase."""
    filed = _filed(reference)
    person = _person(filed)
    form = EraseForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        form.attempt(people.erase, person=person, at=timezone.now(), by=request.user)
    if form.is_bound and not form.errors:
        messages.success(request, _("The personal data is deleted."))
        return redirect("personal-one", reference)
    if person.erased_at is not None:
        return redirect("personal-one", reference)
    facts = {
        "form": form,
        "filed": filed,
        "person": person,
        "waiting": [_standing(each) for each in people.open_requests(person)],
        "retention_days": Workshop.the().retention_days,
    }
    return render(
        request, "returns/owner/personal_erase.html", facts, status=400 if form.errors else 200
    )


def _filed(reference: str) -> Request:
    rows = Request.objects.select_related("person")
    found = rows.filter(reference=reference).first()
    if found is None:
        raise NotFound
    return found


def _person(filed: Request) -> Person:
    if filed.person is None:
        raise NotFound
    return filed.person


def _others(filed: Request, person: Person) -> list[Request]:
    rows = Request.objects.filter(people.same_person(person.email)).exclude(pk=filed.pk)
    # Bounded: anybody may file under anybody's email, as often as the limits let them.
    return list(rows.order_by("-filed_at", "pk")[:OTHERS_SHOWN_MAX])


def _standing(request: Request) -> Standing:
    way_on = "" if request.ended_at else str(_WAYS_ON.get(request.state, ""))
    return Standing(
        it=request,
        state=str(STATES.get(request.state, request.state)),
        way_on=way_on % {"days": kit_stock.SETTLED_AFTER.days} if way_on else "",
    )
