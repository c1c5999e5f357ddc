"""Fields of the set-up's forms: what people type becomes whole milligrams, cents, ppm or µm."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _t

from inventory.sums.masses import MassTextError, parse_mass_mg


class MassField(forms.CharField):
    """A mass as on the scale or the plate; becomes whole milligrams, 0 when left empty."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(max_length=40, **facts)

    def clean(self, value: Any) -> int:
        text = super().clean(value)
        if not text:
            return 0
        try:
            return parse_mass_mg(text)
        except MassTextError as error:
            raise ValidationError(_t(error.template) % error.figures) from error


class ScaledField(forms.DecimalField):
    """A figure with decimals; becomes a whole number of `scale` parts of it, or None."""

    def __init__(self, *, scale: int, **facts: Any) -> None:
        self.scale = scale
        facts.setdefault("min_value", 0)
        super().__init__(localize=True, **facts)
        self.widget.attrs["inputmode"] = "decimal"

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        """A comma is a decimal sign too, whatever language the page is in."""
        text = str(value or "").strip()
        return super().to_python(text.replace(",", ".") if text.count(",") == 1 else text)

    def clean(self, value: Any) -> int | None:
        figure: Decimal | None = super().clean(value)
        return None if figure is None else int(figure * self.scale)

    def prepare_value(self, value: Any) -> Any:
        """A stored whole number is shown as people write it."""
        if isinstance(value, int):
            shown = Decimal(value) / self.scale
            return shown.quantize(Decimal(1).scaleb(-(self.decimal_places or 0)))
        return value


def money(**facts: Any) -> ScaledField:
    """An amount in the workshop's currency; becomes whole cents."""
    return ScaledField(scale=100, decimal_places=2, max_value=1_000_000, **facts)


def percent(**facts: Any) -> ScaledField:
    """A share in percent; becomes parts per million."""
    return ScaledField(scale=10_000, decimal_places=1, **facts)


def millimetres(**facts: Any) -> ScaledField:
    """A length in mm; becomes whole micrometres."""
    return ScaledField(scale=1_000, decimal_places=3, max_value=1_000, **facts)
