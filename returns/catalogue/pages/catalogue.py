"""Models and bills of materials from a list: tried first, brought in when every row is good."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.errors import BadInput
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Colour, Polymer
from inventory.staff.queries import OWNER
from returns.catalogue.pages import lists
from returns.catalogue.rules import catalogue_import, csvlists
from returns.models.catalogue import RimShape

SHOWN_MAX = 500
NAMED_MAX = 12
_ALL = (*catalogue_import.COLUMNS, *catalogue_import.OPTIONAL)


class ModelsFileForm(forms.Form):
    file = lists.file_field(
        gettext_lazy("Models and bills of materials (CSV)"),
        gettext_lazy("UTF-8; comma, semicolon or tab; one row for each component."),
    )


class ModelsImportForm(ActionForm):
    # Written out with all columns, a list may be longer than the file it came from.
    rows = lists.tried_field(2 * csvlists.BYTES_MAX)
    replace = forms.BooleanField(
        label=gettext_lazy("Yes, give the known models the list's bill of materials"),
        required=False,
    )


@allow(OWNER)
@require_http_methods(["GET", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Take a list to try; nothing is written."""
    form = ModelsFileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            lines = catalogue_import.read(lists.content(form.cleaned_data["file"]))
        except BadInput as error:
            form.add_error("file", error.message)
        else:
            return _tried(request, lines, ModelsImportForm(initial={"rows": _as_text(lines)}))
    facts = {
        "form": form,
        "required": catalogue_import.COLUMNS,
        "optional": catalogue_import.OPTIONAL,
    }
    return render(request, "returns/owner/models.html", facts, status=400 if form.errors else 200)


@allow(OWNER)
@require_POST
def bring_in(request: StaffRequest) -> HttpResponse:
    """Write the list that was tried."""
    form = ModelsImportForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The list got lost on the way. Choose the file again."))
        return redirect("models-list")
    try:
        # Read and checked again: what comes back from a browser is no longer what was tried.
        lines = catalogue_import.read(form.cleaned_data["rows"].encode())
    except BadInput as error:
        messages.error(request, error.message)
        return redirect("models-list")
    done = form.attempt(
        catalogue_import.bring_in,
        lines=lines,
        replace="confirmed" if form.cleaned_data["replace"] else "",
        at=timezone.now(),
        by=request.user,
    )
    if done is None:
        return _tried(request, lines, form)
    messages.success(request, _("The models are imported."))
    return redirect("models-list")


@allow(OWNER)
@require_GET
def template(request: HttpRequest) -> HttpResponse:
    """Send a list with every column and example rows, which are refused until replaced."""
    del request
    polymer = Polymer.objects.values_list("code", flat=True).first() or "PP"
    colours = " ".join(Colour.objects.values_list("code", flat=True)[:3]) or "slate moss"
    rows = ((*row, RimShape.PANTO, polymer, colours, "") for row in catalogue_import.EXAMPLE)
    return lists.template("models.csv", [_ALL, *rows])


def _tried(
    request: HttpRequest, lines: Sequence[csvlists.Line], form: ModelsImportForm
) -> HttpResponse:
    verdict = catalogue_import.check(lines)
    facts = {
        "form": form,
        "verdict": verdict,
        "rejected": verdict.rejected[:SHOWN_MAX],
        "changes": verdict.changes[:SHOWN_MAX],
        **{name: _some(getattr(verdict, name)) for name in ("new", "replacing", "colourless")},
    }
    status = 400 if verdict.rejected or form.errors else 200
    return render(request, "returns/owner/models_tried.html", facts, status=status)


def _some(codes: Sequence[str]) -> str:
    """List codes in a row; of many, the first and how many more there are."""
    more = len(codes) - NAMED_MAX
    first = ", ".join(codes[:NAMED_MAX])
    if more <= 0:
        return first
    return ngettext("%(first)s and %(more)s more", "%(first)s and %(more)s more", more) % {
        "first": first,
        "more": more,
    }


def _as_text(lines: Sequence[csvlists.Line]) -> str:
    return lists.text([_ALL, *([line.cells[name] for name in _ALL] for line in lines)])
