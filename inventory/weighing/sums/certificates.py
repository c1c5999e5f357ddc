"""A calibration certificate as its owner types it off: a line for each load."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import ClassVar

from inventory.wording import gettext_noop

POINTS_MAX = 40
UG_PER_UNIT = {"mg": 1_000, "g": 1_000_000, "kg": 1_000_000_000}
K_DEFAULT = Decimal(2)

_QUANTITY = re.compile(r"(?P<number>[-+−]?[0-9]+(?:[.,][0-9]+)?) ?(?P<unit>mg|g|kg)")
_FACTOR = re.compile(r"(?:k ?= ?)?(?P<k>[0-9]+(?:[.,][0-9]+)?)")

Point = tuple[int, int, int]
"""Load in mg, error in µg, standard uncertainty in µg."""


class BadCertificate(ValueError):
    """A line that is no line of a certificate; `line` counts from 1."""

    code: ClassVar[str] = "bad_certificate"
    template: ClassVar[str] = gettext_noop(
        "Line %(line)s: write load, error, U and k, set apart by semicolons, for example "
        "“20 g; -0.1 mg; 0.2 mg; 2”. Each load stands once."
    )

    def __init__(self, line: int) -> None:
        self.line = line
        super().__init__(self.template % {"line": line})


def points(text: str) -> list[Point]:
    """Return the lines of a certificate by load; k is 2 where a line gives none.

    Raises BadCertificate, naming the line.
    """
    found: dict[int, Point] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        point = _point(line, number)
        if point[0] in found or len(found) >= POINTS_MAX:
            raise BadCertificate(number)
        found[point[0]] = point
    return [found[load_mg] for load_mg in sorted(found)]


def lines(rows: Iterable[Point]) -> Iterator[str]:
    """Write points as `points` reads them."""
    for load_mg, error_ug, u_ug in rows:
        error, expanded = Decimal(error_ug) / 1000, Decimal(2 * u_ug) / 1000
        yield f"{Decimal(load_mg) / 1000:f} g; {error:f} mg; {expanded:f} mg; 2"


def _point(line: str, number: int) -> Point:
    parts = [part.strip() for part in line.split(";")]
    if len(parts) not in {3, 4}:
        raise BadCertificate(number)
    load, error, expanded = (_ug(part, number) for part in parts[:3])
    k = _factor(parts[3], number) if len(parts) == 4 else K_DEFAULT
    if load <= 0 or load % 1000 or expanded < 0:
        raise BadCertificate(number)
    return int(load) // 1000, round(error), round(expanded / k)


def _ug(text: str, number: int) -> Decimal:
    shape = _QUANTITY.fullmatch(text)
    if shape is None:
        raise BadCertificate(number)
    figure = Decimal(shape["number"].replace(",", ".").replace("−", "-"))
    found = figure * UG_PER_UNIT[shape["unit"]]
    # A thousand tonnes, as for any mass: more would not go into a reading's columns.
    if abs(found) > 10**15:
        raise BadCertificate(number)
    return found


def _factor(text: str, number: int) -> Decimal:
    shape = _FACTOR.fullmatch(text)
    k = Decimal(shape["k"].replace(",", ".")) if shape else Decimal(0)
    if not 1 <= k <= 10:
        raise BadCertificate(number)
    return k
