"""Emissions of a year's recycled material, and avoided ones beside them, never netted. Reads only.

Both lines rest on the reclaimed post-consumer flake that was issued to moulding in the year. The
process line uses a factor that includes forming, so no metered power is added. A year without
factors gets no statement. What the newest factors of an earlier year would give stands beside it,
said to be of that year, for orientation alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.models import Movement, PlaceKind
from inventory.models.materials import Origin
from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.queries import flows
from returns.figures.circularity.queries.flows import Weighed
from returns.figures.claims.sums.claims import EvidenceError, InputRefused
from returns.figures.emissions import sums as emissions
from returns.figures.emissions.sums import (
    Activity,
    EmissionStatement,
    Factor,
    MissingFactor,
    Substitution,
)
from returns.figures.span.queries import Span
from returns.models import EmissionFactors, Policy

OWN_FAMILY = "own"
VIRGIN, PROCESS = "pp_material_primary", "pp_material_closed_loop"
YEARS_MAX = 10


@dataclass(frozen=True, slots=True)
class Year:
    """One year: the reclaimed flake issued in mg, and its statement or why there is none.

    Both expanded uncertainties (k = 2) are of the weighings alone, and None where some of the mass
    was not weighed: no factor comes with an uncertainty of its own.
    """

    year: int
    issued_mg: int
    statement: EmissionStatement | None
    lacking: str
    process: Factor | None = None
    issued_expanded_mg: int | None = None
    inventory_expanded_kg: Decimal | None = None
    newest: EmissionStatement | None = None
    """With the newest factors of an earlier year, whose year it has; only without a statement."""


def years() -> list[Year]:
    """Return every year with issues to moulding, the newest first, at most ten."""
    labels = Movement.objects.filter(kind="issue").values_list("month", flat=True).distinct()
    # A month's label begins with its year, as in 2026-10.
    found = sorted({int(label[:4]) for label in labels}, reverse=True)[:YEARS_MAX]
    return [of_year(year, Policy.the()) for year in found]


def of_year(year: int, choice: Policy) -> Year:
    """Return the two lines of one year, by the owner's own factors for it, else the UK set's."""
    issued = _issued(year)
    issued_mg = issued.mass_mg
    expanded_mg = None if issued.stated_mg is None else ceil(issued.stated_mg)
    if issued_mg < 1:
        return Year(year, 0, None, _("No reclaimed flake was issued to moulding in this year."))
    try:
        virgin, process = _factors(year)
        made = emissions.statement(
            [Activity(issued_mg, year, process)],
            displaced=Activity(issued_mg, year, virgin),
            substitution=_substitution(choice),
        )
    # Must come first: it is an `EvidenceError` too, and the answer to it is another one.
    except MissingFactor:
        newest = _with_newest(year, issued_mg, choice)
        lacking = _lacking_factor(year)
        return Year(year, issued_mg, None, lacking, None, expanded_mg, newest=newest)
    except (InputRefused, EvidenceError):
        text = _("The limits' replacement shares or factors cannot be used. Mend them there.")
        return Year(year, issued_mg, None, text, None, expanded_mg)
    # The ± of the mass through the same factor, which itself comes without an uncertainty.
    expanded_kg = None if expanded_mg is None else Activity(expanded_mg, year, process).kg_co2e
    return Year(year, issued_mg, made, "", process, expanded_mg, expanded_kg)


def _issued(year: int) -> Weighed:
    span = Span(Month(year, 1), Month(year, 12))
    reclaimed = [Origin.RETURN, Origin.FEEDSTOCK]
    rows = flows.postings(span).filter(
        # The target matters for reversals, which bring material back from the press to its lot.
        Q(source__origin__in=reclaimed) | Q(target__origin__in=reclaimed),
        movement__kind="issue",
    )
    return flows.weighed(rows, source=PlaceKind.LOT, target=PlaceKind.PRESS)


def _factors(year: int) -> tuple[Factor, Factor]:
    # Both from one hand: an own factor and one of the UK set rest on different methods.
    own = EmissionFactors.objects.filter(year=year).first()
    if own is not None:
        return _own(VIRGIN, own.virgin_g_per_t, own), _own(PROCESS, own.process_g_per_t, own)
    return emissions.uk_factor(VIRGIN, year=year), emissions.uk_factor(PROCESS, year=year)


def _with_newest(year: int, issued_mg: int, choice: Policy) -> EmissionStatement | None:
    """Return what the newest factors before a year would give; None where there are none."""
    own = EmissionFactors.objects.filter(year__lt=year).order_by("-year").first()
    earlier = [at for flow, at in emissions.UK_FACTORS if flow == VIRGIN and at < year]
    years = [*earlier, *([own.year] if own else [])]
    try:
        virgin, process = _factors(max(years))
        return emissions.statement(
            [Activity(issued_mg, process.year, process)],
            displaced=Activity(issued_mg, virgin.year, virgin),
            substitution=_substitution(choice),
        )
    # No earlier year at all, or shares that cannot be used: the year then has no number, and says
    # why.
    except (ValueError, InputRefused, EvidenceError):
        return None


def _own(flow: str, g_per_tonne: int, row: EmissionFactors) -> Factor:
    return Factor(
        flow=flow,
        year=row.year,
        # Kept in whole grams per tonne, so that the column is an integer; the sums take kg per
        # tonne.
        kg_co2e_per_unit=Decimal(g_per_tonne) / 1000,
        unit="t",
        scope="scope 3",
        family=OWN_FAMILY,
        source=row.source,
        licence="",
    )


def _substitution(choice: Policy) -> Substitution:
    # Decimal from end to end: shares are whole millionths, and a float would print as 0.7000000001.
    million = Decimal(1_000_000)
    return Substitution(
        low=choice.substitution_low_ppm / million,
        central=choice.substitution_ppm / million,
        high=choice.substitution_high_ppm / million,
        reason=choice.substitution_reason,
    )


def _lacking_factor(year: int) -> str:
    text = _(
        "No statement: there is no factor for %(year)s here, and another year's is not borrowed. "
        "A factor that is missing is not zero. Enter both factors of that year with their source."
    )
    return text % {"year": year}
