"""The owner's page of the traceability file, the file itself, and what our own words in it mean."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.pages.access import allow
from inventory.ledger.queries import scanned
from inventory.ledger.sums import scans
from inventory.models import PlaceKind
from inventory.months.queries import months
from inventory.months.sums.calendar_month import BadMonth, Month
from inventory.staff.queries import OWNER
from returns.tracing import queries
from returns.tracing.queries import Question
from returns.tracing.sums import documents
from returns.tracing.sums.steps import OWN_WORDS

MEDIA_TYPE: Final = "application/ld+json"


class WantedForm(forms.Form):
    """A month, or the code of one thing, or both."""

    month = forms.ChoiceField(label=_("Month"), required=False)
    code = forms.CharField(
        label=_("Code of a frame, parcel, box, lot, bin or batch"), max_length=60, required=False
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data)
        labels = [(str(one.label), str(one.label)) for one in months.listed(timezone.now())]
        self.fields["month"].choices = [("", _("all")), *labels]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        if not self.errors and not data["month"] and not data["code"].strip():
            raise forms.ValidationError(_("Choose a month, or give a code."))
        return data

    def question(self) -> Question:
        typed = scans.meant(self.cleaned_data["code"])
        place = scanned.place(typed) if typed else None
        code = place.lot.code if place and place.lot else place.code if place else typed
        if place and place.kind == PlaceKind.BIN and place.part:
            code = place.part.code
        if not self.cleaned_data["month"]:
            return Question(code=code)
        since, until = Month.parse(self.cleaned_data["month"]).span_utc(queries.house().zone)
        return Question(code=code, since=since, until=until)


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show what the file holds and let a month or one thing be chosen for it."""
    return render(request, "returns/owner/tracing.html", {"form": WantedForm()})


@require_safe
@allow(OWNER)
def download(request: HttpRequest) -> HttpResponse:
    """Hand out the events of a month or of one thing as an EPCIS document."""
    form = WantedForm(request.GET)
    try:
        question = form.question() if form.is_valid() else None
    except BadMonth:
        question = None
    if question is None:
        return render(request, "returns/owner/tracing.html", {"form": form})
    told = [one for _position, found in queries.events(question) for one in found]
    if not told:
        form.add_error(None, _("Nothing happened there. Choose another month or code."))
        return render(request, "returns/owner/tracing.html", {"form": form})
    named = form.cleaned_data["month"] or question.code
    document = documents.document(told, queries.house(), timezone.now())
    answer = JsonResponse(document, content_type=MEDIA_TYPE)
    answer["Content-Disposition"] = f'attachment; filename="events-{named}.jsonld"'
    return answer


@require_safe
def words(request: HttpRequest) -> HttpResponse:
    """Say what the own words of our events mean, to whoever receives one. Open to all."""
    facts = {"words": OWN_WORDS.items(), "namespace": queries.house().own}
    return render(request, "returns/customer/tracing_words.html", facts)
