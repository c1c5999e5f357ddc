"""What was changed in masters, prices, limits, logins and settings, for the owner to read."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.apps import apps
from django.contrib.auth.models import User
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.models import Change
from inventory.models.changes import is_kept
from inventory.staff.queries import OWNER

ROWS: Final = 50


class FilterForm(forms.Form):
    table = forms.ChoiceField(label=_("What"), required=False)
    by = forms.ModelChoiceField(
        label=_("Who"), queryset=User.objects.order_by("username"), required=False
    )
    since = forms.DateField(
        label=_("Since"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    name = forms.CharField(label=_("Name or code"), max_length=80, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = sorted((words, table) for table, words in tables().items())
        field: Any = self.fields["table"]
        field.choices = [("", _("everything")), *((table, words) for words, table in choices)]


def tables() -> dict[str, str]:
    """The tables whose changes are kept, and what people call them."""
    return {
        model._meta.label_lower: str(model._meta.verbose_name_plural)
        for model in apps.get_models()
        if is_kept(model)
    }


@require_safe
@allow(OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """List changes, the latest first, by table, person, day and name."""
    form = FilterForm(request.GET)
    rows = Change.objects.select_related("by").order_by("-pk")
    if form.is_valid():
        asked = form.cleaned_data
        if asked["table"]:
            rows = rows.filter(table=asked["table"])
        if asked["by"]:
            rows = rows.filter(by=asked["by"])
        if asked["since"]:
            rows = rows.filter(at__date__gte=asked["since"])
        if asked["name"]:
            rows = rows.filter(name__icontains=asked["name"])
    query = request.GET.copy()
    query.pop("page", None)
    shown = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    words = tables()
    facts = {
        "form": form,
        "page": shown,
        "query": query.urlencode(),
        "lines": [
            {"it": one, "table": words.get(one.table, one.table), "fields": _fields(one)}
            for one in shown
        ],
        "wide": True,
    }
    return render(request, "returns/setup/changes.html", facts)


def _fields(change: Change) -> list[tuple[str, Any, Any]]:
    names = sorted({*change.before, *change.after})
    return [(name, change.before.get(name, ""), change.after.get(name, "")) for name in names]
