"""What a postal address needs in each country: the parts that must be there, and the code's shape.

Source: common practice in postal addressing as the Universal Postal Union collects it; written
from memory, and kept loose on purpose. A shape only catches slips of the finger; whether an
address exists is known to the post alone. A country that is not listed is taken as it is typed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class Part(StrEnum):
    """A part of an address, by the name of its field."""

    STREET = "street"
    POSTAL_CODE = "postal_code"
    CITY = "city"
    REGION = "region"


class Slip(StrEnum):
    """What is wrong with a part."""

    EMPTY = "empty"
    SHAPE = "shape"


@dataclass(frozen=True, slots=True)
class Shape:
    """What one country's addresses need; `example` shows the postal code's shape."""

    required: tuple[Part, ...]
    pattern: str = ""
    example: str = ""


@dataclass(frozen=True, slots=True)
class Address:
    """The parts that are checked, as typed."""

    street: str
    postal_code: str
    city: str
    region: str
    country: str


_BASIC: Final = (Part.STREET, Part.POSTAL_CODE, Part.CITY)
_WITH_REGION: Final = (*_BASIC, Part.REGION)
_NO_CODE: Final = (Part.STREET, Part.CITY)
# A country that is not in the table: somebody must be able to deliver it, no more is known.
FREE_FORM: Final = Shape((Part.STREET,))

_DIGITS_4: Final = Shape(_BASIC, r"\d{4}", "1234")
_DIGITS_5: Final = Shape(_BASIC, r"\d{5}", "12345")
_DIGITS_6: Final = Shape(_BASIC, r"\d{6}", "123456")
_SPACED_5: Final = Shape(_BASIC, r"\d{3} ?\d{2}", "123 45")

SHAPES: Final[Mapping[str, Shape]] = MappingProxyType(
    {
        "AE": Shape(_NO_CODE),
        "AT": _DIGITS_4,
        "AU": Shape(_WITH_REGION, r"\d{4}", "1234"),
        "BE": _DIGITS_4,
        "BG": _DIGITS_4,
        "BR": Shape(_WITH_REGION, r"\d{5}-?\d{3}", "12345-678"),
        "CA": Shape(_WITH_REGION, r"[A-Z]\d[A-Z] ?\d[A-Z]\d", "A1A 1A1"),
        "CH": _DIGITS_4,
        "CY": _DIGITS_4,
        "CZ": _SPACED_5,
        "DE": _DIGITS_5,
        "DK": _DIGITS_4,
        "EE": _DIGITS_5,
        "ES": _DIGITS_5,
        "FI": _DIGITS_5,
        "FR": _DIGITS_5,
        "GB": Shape(_BASIC, r"[A-Z]{1,2}\d[A-Z\d]? ?\d[A-Z]{2}", "AB1 2CD"),
        "GR": _SPACED_5,
        "HK": Shape(_NO_CODE),
        "HR": _DIGITS_5,
        "HU": _DIGITS_4,
        # Deliverable without its code for years; many people leave it out.
        "IE": Shape(_NO_CODE, r"[A-Z]\d[\dW] ?[A-Z\d]{4}", "A12 BC34"),
        "IS": Shape(_BASIC, r"\d{3}", "123"),
        "IT": _DIGITS_5,
        "JP": Shape(_BASIC, r"\d{3}-?\d{4}", "123-4567"),
        "LI": _DIGITS_4,
        "LT": Shape(_BASIC, r"(?:LT-)?\d{5}", "12345"),
        "LU": Shape(_BASIC, r"(?:L-)?\d{4}", "1234"),
        "LV": Shape(_BASIC, r"(?:LV-)?\d{4}", "LV-1234"),
        "MT": Shape(_BASIC, r"[A-Z]{3} ?\d{4}", "ABC 1234"),
        "NL": Shape(_BASIC, r"\d{4} ?[A-Z]{2}", "1234 AB"),
        "NO": _DIGITS_4,
        "NZ": _DIGITS_4,
        "PL": Shape(_BASIC, r"\d{2}-\d{3}", "12-345"),
        "PT": Shape(_BASIC, r"\d{4}-\d{3}", "1234-567"),
        "RO": _DIGITS_6,
        "SE": _SPACED_5,
        "SG": _DIGITS_6,
        "SI": _DIGITS_4,
        "SK": _SPACED_5,
        "US": Shape(_WITH_REGION, r"\d{5}(?:-\d{4})?", "12345"),
    }
)


def shape_of(country: str) -> Shape:
    """Return the shape for a two-letter country code; the free form for one that is not listed."""
    return SHAPES.get(country.upper(), FREE_FORM)


def slips(address: Address) -> dict[Part, Slip]:
    """Return every part that is missing or misshapen; empty when the address will do."""
    shape = shape_of(address.country)
    found = {
        part: Slip.EMPTY for part in shape.required if not getattr(address, part.value).strip()
    }
    code = address.postal_code.strip().upper()
    # The whole code, and ASCII only: `\d` would else take the digits of every script.
    if code and shape.pattern and not re.fullmatch(shape.pattern, code, re.ASCII):
        found[Part.POSTAL_CODE] = Slip.SHAPE
    return found
