"""The form above every figure: from which month to which, of which model or batch."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from inventory.errors import BadInput
from returns.figures.span.queries import Scope, Span
from returns.models import FrameModel


class MonthInput(forms.TextInput):
    """A picker where the browser has one, else text such as 2026-10."""

    input_type = "month"


_SHAPE = {"placeholder": "2026-10"}


class ScopeForm(forms.Form):
    """Ask of which model or batch."""

    model = forms.ModelChoiceField(
        FrameModel.objects.all(),
        label=_("Model"),
        required=False,
        to_field_name="code",
        empty_label=_("All models"),
    )
    batch = forms.CharField(label=_("Production batch"), max_length=20, required=False)

    def scope(self) -> Scope:
        """Return what the figures are of. BadInput for a batch unknown or of another model."""
        model = self.cleaned_data["model"]
        return Scope.of_codes(
            model=model.code if model else "", batch=self.cleaned_data["batch"].strip()
        )


class SelectionForm(ScopeForm):
    """Ask from which month to which as well."""

    field_order = ["first", "last", "model", "batch"]
    first = forms.CharField(label=_("From month"), max_length=7, widget=MonthInput(_SHAPE))
    last = forms.CharField(label=_("To month"), max_length=7, widget=MonthInput(_SHAPE))

    def span(self) -> Span:
        """Return both months. BadInput names the one that will not do."""
        return Span.parse(self.cleaned_data["first"], self.cleaned_data["last"])


@dataclass(frozen=True)
class Selection:
    """What was chosen. `is_good` is False when the form has errors and the default is shown."""

    form: SelectionForm
    span: Span
    scope: Scope
    is_good: bool

    @property
    def query(self) -> str:
        """Return the choice as a query string, for links that keep it."""
        first, last = self.span.labels
        return urlencode({"first": first, "last": last, **self.scope.codes})


def chosen(request: HttpRequest, *, at: datetime) -> Selection:
    """Read the choice from the address; without one, the last twelve months of everything."""
    fallback = Span.of_year_before(at)
    first, last = fallback.labels
    data: dict[str, Any] = {"first": first, "last": last}
    # Bound even without a query, so that the form shows the months that the figures are of.
    data |= {name: request.GET[name] for name in SelectionForm.base_fields if name in request.GET}
    form = SelectionForm(data)
    if form.is_valid():
        try:
            return Selection(form, form.span(), form.scope(), is_good=True)
        except BadInput as error:
            # The rule may name a field that this form does not have; `add_error` would raise
            # ValueError.
            form.add_error(error.field if error.field in form.fields else None, error.message)
    return Selection(form, fallback, Scope(), is_good=False)
