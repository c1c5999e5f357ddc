"""The base of every form that changes something: it carries the client's id of the action."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

from django import forms
from django.db import IntegrityError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.errors import HingebackError, KeyReused
from inventory.ledger.sums import scans
from inventory.ledger.sums.scans import TYPED_LENGTH_MAX
from inventory.models import Scale
from inventory.months.reports.headings import FLAGS
from inventory.weighing.queries import readings

Made = TypeVar("Made")
SCANS_LENGTH_MAX = 60 * TYPED_LENGTH_MAX
SCANNED = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}


class ActionForm(forms.Form):
    """A form with a hidden one-time key: a double click or a reload repeats, never doubles."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    refusal: HingebackError | None = None

    def attempt(self, rule: Callable[..., Made], **facts: Any) -> Made | None:
        """Call a rule with the form's key. A refusal lands beside its field; None then."""
        try:
            return self._once_more_if_raced(rule, facts)
        except KeyReused:
            self._renew_key()
            return None
        except HingebackError as error:
            self.refusal = error
            # A rule may name several faults at once; each goes to its own field, the rest to the
            # top.
            for one in (error, *error.others):
                field = getattr(one, "field", "")
                self.add_error(field if field in self.fields else None, one.message)
            return None

    def _renew_key(self) -> None:
        """What was sent from here before had other content: a fresh key lets this be sent too."""
        sent: Any = self.data
        # What was sent is immutable, and typed work must not be lost: a copy goes on with another
        # key.
        data = sent.copy()
        data[self.add_prefix("key")] = str(uuid.uuid4())
        self.data = data
        self.add_error(
            None,
            _(
                "Another entry was sent from this form before. Look whether it was done; to enter "
                "this one as well, send it again."
            ),
        )

    def _once_more_if_raced(self, rule: Callable[..., Made], facts: dict[str, Any]) -> Made:
        """Two clicks at once: the slower one meets the key's unique row, and then repeats."""
        key = self.cleaned_data["key"]
        try:
            return rule(key=key, **facts)
        except IntegrityError:
            return rule(key=key, **facts)


class LateForm(ActionForm):
    """A form whose fact may be told days later: on which day it happened, and why it comes late."""

    happened_on = forms.DateField(
        label=_("Happened on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_(
            "Only if it was not today. A closed month stays as it is: it is booked in the open one "
            "and listed there."
        ),
    )
    late_reason = forms.CharField(label=_("Why it comes late"), required=False, max_length=200)

    def __init__(self, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        # Asked last: on most days both stay empty.
        for name in ("happened_on", "late_reason"):
            self.fields[name] = self.fields.pop(name)


class MassField(forms.CharField):
    """A mass as typed, or as a scale's cable fills it in; the rule parses it."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(max_length=40, **facts)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        own = {"inputmode": "decimal", "autocomplete": "off", "data-mass": True}
        return super().widget_attrs(widget) | own


class ScanField(forms.CharField):
    """The label of the right thing, scanned or typed: the proof that it is in the hand.

    The page's script puts a scan of this kind here, wherever the focus is: the letter of a code,
    or box, lot or bin. Any other scan opens what it names. The rule reads and judges it.
    """

    def __init__(self, *, kind: str, **facts: Any) -> None:
        self.kind = kind
        super().__init__(max_length=TYPED_LENGTH_MAX, **facts)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        own = {"data-scan": "one", "data-scan-kind": self.kind}
        return super().widget_attrs(widget) | SCANNED | own


class ScansField(forms.CharField):
    """Several labels, one a line: a scanner's own Enter begins the next line."""

    def __init__(self, *, kind: str, is_asked: bool = False, **facts: Any) -> None:
        # Asked for, though the rule alone knows whether it may stay empty.
        self.kind, self.is_asked = kind, is_asked
        widget = forms.Textarea(attrs={"rows": 2})
        super().__init__(max_length=SCANS_LENGTH_MAX, widget=widget, **facts)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        own = {"data-scan": "lines", "data-scan-kind": self.kind}
        return super().widget_attrs(widget) | SCANNED | own

    def clean(self, value: Any) -> list[str]:
        return scans.lines(str(super().clean(value)))


class FigureField(forms.DecimalField):
    """A figure with decimals. A comma is a decimal sign too, whatever the language of the page."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(localize=True, **facts)

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        text = str(value or "").strip()
        # Two commas are no decimal sign; left alone, they are refused.
        return super().to_python(text.replace(",", ".") if text.count(",") == 1 else text)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "decimal"}


class ScaleSelect(forms.Select):
    """Scales to choose from, each with what it can show: the running sums read a mass by that."""

    def create_option(self, name: str, value: Any, *args: Any, **facts: Any) -> dict[str, Any]:
        option = super().create_option(name, value, *args, **facts)
        scale = getattr(value, "instance", None)
        if scale is not None:
            step, most = str(scale.division_mg), str(scale.capacity_mg)
            option["attrs"] |= {"data-step-mg": step, "data-capacity-mg": most}
        return option


class ScaleField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A scale in use. What speaks against it today is said before it is used, not only after."""

    widget = ScaleSelect

    def __init__(self, **facts: Any) -> None:
        super().__init__(Scale.objects.filter(in_use=True), **{"label": _("Scale")} | facts)

    def label_from_instance(self, scale: Scale) -> str:
        given = [str(FLAGS[flag]) for flag in readings.doubts(scale=scale, at=timezone.now())]
        return f"{scale.name} ({', '.join(given)})" if given else scale.name


class WeighedForm(ActionForm):
    """An action with one reading on a named scale; the rule parses the typed mass."""

    scale = ScaleField()
    mass = MassField(
        label=_("Mass"),
        help_text=_("As the scale shows it, for example 24,31 or 24.31 g."),
    )
