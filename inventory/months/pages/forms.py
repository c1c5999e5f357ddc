"""The accountant's forms."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.furniture.pages.forms import ActionForm
from inventory.months.reports import headings


class CloseForm(ActionForm):
    """Closing a month is for ever, so the form asks for a tick, and for a reason where it warns."""

    # What was shown: other figures by then are not the ones that were read.
    seen = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    acknowledged = forms.CharField(
        label=_("Why it may be closed in spite of the warnings"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("It is kept with the closed month, under its digest. No names of people."),
    )

    sure = forms.BooleanField(
        label=_("I have read the figures. They may be frozen for good."),
    )


class AskForm(ActionForm):
    """What the bench is asked to settle."""

    subject = forms.CharField(widget=forms.HiddenInput, max_length=40)


class ReverseForm(ActionForm):
    """A reversal names its reason."""

    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("It stays in the books and in the report's postings. No names of people."),
    )


class FilterForm(forms.Form):
    """Which movements to list; all of it may be left empty."""

    month = forms.RegexField(
        r"^[0-9]{4}-[0-9]{2}$",
        label=_("Month"),
        required=False,
        help_text=_("Year and month, for example 2026-10."),
        error_messages={"invalid": _("Write the year and the month, for example 2026-10.")},
    )
    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *headings.KINDS.items()]
    )
    subject = forms.CharField(label=_("Code of what it is about"), required=False, max_length=60)
