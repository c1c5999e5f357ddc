"""How masses, money, shares and moments read on pages, in the language of whoever reads.

Figures are shown exactly or rounded once, here; nothing in this module computes a rule.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal

from django.utils import timezone
from django.utils.formats import date_format, get_format
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString
from django.utils.translation import pgettext

from inventory.furniture.numbers import MINUS, NARROW_SPACE, fixed, pieces
from inventory.furniture.pages import frame
from inventory.weighing.sums.masses import mass_g

NOTHING = "–"
_GROUPED_FROM = 10_000
# Not followed by a hyphen: 2026-10 is a month, the beginning of 2026-10-14 is not.
_MONTH = re.compile(r"\b\d{4}-\d{2}\b(?!-)")


def mass(mass_mg: object) -> str:
    """Return milligrams as grams: two decimals, a third where it is not 0, in the page's language.
    Never rounds. 24310 reads "24.31 g" in English and "24,31 g" in German.
    """
    if not isinstance(mass_mg, int):
        return _absent(mass_mg)
    return f"{_number(mass_g(mass_mg), decimals_min=2)} g"


def mass_aligned(mass_mg: object) -> str:
    """Return milligrams as grams, always with three decimals, for a column that must line up."""
    if not isinstance(mass_mg, int):
        return _absent(mass_mg)
    return f"{_number(mass_g(mass_mg), decimals_min=3)} g"


def mass_kg(mass_mg: object) -> str:
    """Return milligrams as kilograms, never rounded: three decimals, more where it has them."""
    if not isinstance(mass_mg, int):
        return _absent(mass_mg)
    return f"{_number(Decimal(mass_mg).scaleb(-6), decimals_min=3)} kg"


def money(cost_minor: object, currency: str = "") -> str:
    """Return minor units (hundredths) as "12.34 EUR"; the workshop's currency if none is given."""
    if not isinstance(cost_minor, int):
        return _absent(cost_minor)
    figure = _number(Decimal(cost_minor).scaleb(-2), decimals_min=2)
    return f"{figure} {currency or frame.currency()}"


def unbroken(text: str) -> SafeString:
    """Return a sentence in which a month, such as 2026-10, is never cut at the end of a line."""
    return SafeString(_MONTH.sub(r'<span class="nowrap">\g<0></span>', conditional_escape(text)))


def whole(count: object) -> str:
    """Return a count, in threes, with the sign that every other figure has."""
    return pieces(count) if isinstance(count, int) else _absent(count)


def ppm(share_ppm: object, decimals: int = 1) -> str:
    """Return parts per million as percent, rounded half to even: 123456 reads "12.3 %"."""
    if not isinstance(share_ppm, int | Decimal):
        return _absent(share_ppm)
    percent = Decimal(share_ppm).scaleb(-4).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
    return f"{_number(percent, decimals_min=decimals)} %"


def score(z: object) -> str:
    """Return how many standard deviations off something is, with two decimals: "−1.96"."""
    return fixed(round(z, 2), 2) if isinstance(z, float) else _absent(z)


def local(moment: object) -> str:
    """Return a moment on the workshop's clock as "14 Oct 2026, 12:00"; a day as "14 Oct 2026"."""
    if isinstance(moment, datetime):
        if timezone.is_aware(moment):
            moment = timezone.localtime(moment, timezone.get_default_timezone())
        return date_format(moment, pgettext("format of a moment", "j M Y, H:i"))
    if isinstance(moment, date):
        return date_format(moment, pgettext("format of a day", "j M Y"))
    return _absent(moment)


def uncertainty(expanded_ug: int) -> str:
    """Return micrograms as grams with two significant digits, rounded up, to no less than 1 mg.
    GUM (JCGM 100:2008) 7.2.6: two digits are enough, and one may round up.
    """
    return f"{_two_digits(Decimal(expanded_ug).scaleb(-6), least=-3)} g"


def uncertainty_kg(expanded_ug: int) -> str:
    """Return the same in kilograms."""
    return f"{_two_digits(Decimal(expanded_ug).scaleb(-9), least=-6)} kg"


def _two_digits(figure: Decimal, *, least: int) -> str:
    """Round up to two digits, and to no finer step than ten to the power of `least`."""
    # `adjusted()` is the power of ten of the first digit; one less is that of the second.
    step = max(Decimal(1).scaleb(least), Decimal(1).scaleb(figure.adjusted() - 1))
    rounded = (figure / step).to_integral_value(ROUND_CEILING) * step
    return _number(rounded, decimals_min=max(0, -step.adjusted()))


def _absent(nothing: object) -> str:
    """Return a dash for None; what is no figure at all is shown as it is."""
    return NOTHING if nothing is None else str(nothing)


def _number(figure: Decimal, *, decimals_min: int) -> str:
    """Return an exact decimal in the page's language, in threes from 10 000 on."""
    sign = MINUS if figure < 0 else ""
    whole, _point, decimals = f"{abs(figure):f}".partition(".")
    kept = decimals[:decimals_min] + decimals[decimals_min:].rstrip("0")
    if int(whole) >= _GROUPED_FROM:
        whole = f"{int(whole):,}".replace(",", NARROW_SPACE)
    if not kept:
        return f"{sign}{whole}"
    return f"{sign}{whole}{get_format('DECIMAL_SEPARATOR')}{kept}"
