"""What lies in lots of returns and feedstock that no frame and no delivery was weighed for.

Stock that was typed in when the books began, and what a count found, has no origin but somebody's
word: it counts as of unknown origin. Within a box it is shared out by mass, as the box was mixed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil

from django.db.models import QuerySet, Sum

from inventory.models import Origin, Posting
from returns.figures.circularity.queries.flows import NOTHING, Weighed

UNTRACED_KINDS = ("opening", "count_mass")
_PLACES = ("box", "lot")


def shares() -> dict[int, Fraction]:
    """Return lot's place -> share of what came into it that nobody can trace; none where it is 0.

    Two questions to the database, however long the books.
    """
    # Neither reversals nor what they took back.
    rows = Posting.objects.filter(
        target__kind__in=_PLACES,
        target__origin__in=[Origin.RETURN, Origin.FEEDSTOCK],
        movement__reverses=None,
        movement__reversed_by=None,
    ).order_by()
    into: Counter[int] = Counter()
    unknown: Counter[int] = Counter()
    came = rows.exclude(source__kind__in=_PLACES).values_list("target", "movement__kind")
    for place, kind, mass_mg in came.annotate(mass=Sum("quantity")):
        into[place] += mass_mg
        if kind in UNTRACED_KINDS:
            unknown[place] += mass_mg
    if not unknown:
        return {}
    ground = rows.filter(source__kind="box", target__kind="lot").values_list("source", "target")
    lots = Counter(into)
    doubtful = {place: Fraction(mass_mg) for place, mass_mg in unknown.items()}
    for box, lot, mass_mg in ground.annotate(mass=Sum("quantity")):
        lots[lot] += mass_mg
        share = Fraction(unknown[box], into[box]) if into[box] else Fraction(0)
        doubtful[lot] = doubtful.get(lot, Fraction(0)) + share * mass_mg
    return {place: mass / lots[place] for place, mass in doubtful.items() if mass}


def issued_mg(issues: QuerySet[Posting], known: Mapping[int, Fraction]) -> dict[str, int]:
    """Return origin -> mass in mg, rounded up, of what was issued and nobody can trace."""
    if not known:
        return {}
    found: dict[str, Fraction] = {}
    for side, sign in (("source", 1), ("target", -1)):
        # A reversal runs the other way, back into the lot.
        rows = issues.filter(
            **{f"{side}__in": list(known), "movement__reverses__isnull": sign > 0}
        ).values_list(side, f"{side}__origin")
        for place, origin, mass_mg in rows.annotate(mass=Sum("quantity")):
            found[origin] = found.get(origin, Fraction(0)) + sign * known[place] * mass_mg
    return {origin: ceil(mass) for origin, mass in found.items() if mass > 0}


def split(one: Weighed, mass_mg: int) -> tuple[Weighed, Weighed]:
    """Return a part of a mass and the rest of it, its uncertainty shared out by mass."""
    taken_mg = min(mass_mg, one.mass_mg)
    if taken_mg < 1:
        return NOTHING, one
    return _part(one, taken_mg), _part(one, one.mass_mg - taken_mg)


def _part(one: Weighed, mass_mg: int) -> Weighed:
    share = mass_mg / one.mass_mg
    measured = replace(
        one.measured,
        mass_mg=mass_mg,
        u_independent_mg=one.measured.u_independent_mg * share,
        u_shared_mg=tuple((key, u_mg * share) for key, u_mg in one.measured.u_shared_mg),
    )
    return replace(
        one,
        mass_mg=mass_mg,
        expanded_mg=one.expanded_mg * share,
        unweighed_mg=round(one.unweighed_mg * share),
        measured=measured,
    )
