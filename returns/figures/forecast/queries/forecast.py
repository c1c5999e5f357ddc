"""What will come back in the next twelve months, and which spare parts to order today."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, Sum

from inventory.models import Balance, Colour, Part, PlaceKind, Posting, Reservation
from inventory.models.places import ReservationState
from inventory.months.sums.calendar_month import Month
from returns.catalogue import queries as catalogue
from returns.figures.circularity.queries.judged import Missing
from returns.figures.claims.sums.claims import EvidenceError, NotEnoughEvidence
from returns.figures.forecast.sums import forecasts, spares
from returns.figures.lifetimes.queries.lifetimes import Cohorts, cohorts, kit_cohorts
from returns.figures.span.queries import Scope, by_index, index
from returns.models import Colourway

MONTHS_AHEAD = 12
MONTHS_LOOKED_AT = 12
SERVICE_LEVEL = 0.95
COVERAGE = 0.9
INNER_COVERAGE = 0.5
# Any number would do, but it must stay: page, download and API simulate each by itself and must
# agree.
SEED = 20_261_014
LEADS = (3, 2, 1)
DAYS_PER_MONTH = 365.25 / 12
REVIEW_DAYS = 7
"""How often somebody looks at what to order: once a week."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Returns month by month with 90 % limits, and `inner` ones of 50 %; counts of months past.

    `back_tests` hold what was forecast three, two and one months ahead against what came, as far
    as the books reach.
    """

    made: forecasts.Forecast | None
    inner: forecasts.Forecast | None = None
    past: tuple[tuple[int, int], ...] = ()
    back_tests: tuple[forecasts.BackTest, ...] = ()
    missing: Missing | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartProposal:
    """What to hold of one part and what to order. `missing` where use says too little so far.

    Without enough months the owner's own reorder level is the target.
    """

    code: str
    name: str
    used_months: tuple[int, ...]
    lead_time_days: int
    on_hand: int
    reserved: int
    base_stock: int | None
    order: spares.OrderProposal
    missing: Missing | None = None


def forecast(found: Cohorts) -> Forecast:
    """Forecast the twelve months after the cohorts' last. The same data give the same figures."""
    # The same seed draws the same outcomes twice, so the inner limits always lie within the outer
    # ones.
    made, inner = _made(found, COVERAGE), _made(found, INNER_COVERAGE)
    if isinstance(made, Missing) or isinstance(inner, Missing):
        return Forecast(
            made=None, past=_past(found), missing=made if isinstance(made, Missing) else None
        )
    return Forecast(
        made=made,
        inner=inner,
        past=_past(found),
        back_tests=tuple(test for test in (_back_test(found, lead) for lead in LEADS) if test),
    )


def _made(found: Cohorts, coverage: float) -> forecasts.Forecast | Missing:
    try:
        return forecasts.forecast(
            found.cohorts,
            as_of=index(found.as_of),
            months=MONTHS_AHEAD,
            coverage=coverage,
            seed=SEED,
        )
    except NotEnoughEvidence as error:
        return Missing.because(error)


def _past(found: Cohorts) -> tuple[tuple[int, int], ...]:
    """First returns by running month, from the first month of sale on, at most twelve months."""
    last = index(found.as_of)
    # Months before the first sale are left out: nothing could come back then, and a zero would say
    # otherwise.
    first = min((cohort.month for cohort in found.cohorts), default=last + 1)
    return tuple(
        (month, sum(cohort.returned_in(month) for cohort in found.cohorts))
        for month in range(max(first, last - MONTHS_LOOKED_AT + 1), last + 1)
    )


def _back_test(found: Cohorts, lead: int) -> forecasts.BackTest | None:
    try:
        return forecasts.back_test(
            found.cohorts, as_of=index(found.as_of), lead=lead, months=12, seed=SEED
        )
    except NotEnoughEvidence:
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourMass:
    """Frame material in the frames of one colour that come back, over the twelve months."""

    name: str
    months: tuple[forecasts.MonthMass, ...]


def mass_by_colour(scope: Scope, *, as_of: Month) -> tuple[ColourMass, ...]:
    """Return mg of frame material by colour and month. A colour with thin data is left out, as is
    one whose models name no frame material.

    Frames are forecast by the colour of their front; their mass counts for the colour of each
    component.
    """
    made: dict[str, forecasts.Forecast] = {}
    names = dict(Colour.objects.values_list("code", "name"))
    for code in names:
        ahead = forecast_of(cohorts(scope, as_of=as_of, colour=code))
        if ahead is not None:
            made[code] = ahead
    found: dict[str, tuple[forecasts.MonthMass, ...]] = {}
    for front, frame_mg in _frame_material_mg(scope, made).items():
        for code, mass_mg in frame_mg.items():
            months = forecasts.mass_by_colour({front: made[front]}, {front: mass_mg})[front]
            found[code] = forecasts.added(found[code], months) if code in found else months
    return tuple(ColourMass(name=names[code], months=months) for code, months in found.items())


def forecast_of(found: Cohorts) -> forecasts.Forecast | None:
    """Return the bare forecast, or None where the data are too thin."""
    made = _made(found, COVERAGE)
    return None if isinstance(made, Missing) else made


def screws_by_month(scope: Scope, *, as_of: Month) -> tuple[forecasts.MonthForecast, ...]:
    """Return the spare kits to be asked for by month; a kit holds what the bill of materials says.

    Each unit is taken to ask once: who asks again starts anew, as with returns.
    """
    ahead = forecast_of(kit_cohorts(scope, as_of=as_of))
    return ahead.months if ahead else ()


def _frame_material_mg(scope: Scope, colours: Iterable[str]) -> dict[str, dict[str, int]]:
    """Frame material of one piece, by the colour of its front and of each component: the mean of
    the colourways."""
    rows = Colourway.objects.filter(colour__code__in=colours)
    if scope.model is not None:
        rows = rows.filter(model=scope.model)
    ways = list(rows.select_related("model", "colour", "polymer"))
    found: dict[str, Counter[str]] = {}
    counted: Counter[str] = Counter()
    for pk, heaps in catalogue.by_material(ways).items():
        code = next(way.colour.code for way in ways if way.pk == pk)
        masses = {heap.material.colour.code: heap.nominal_mg for heap in heaps if heap.nominal_mg}
        if masses:
            found.setdefault(code, Counter()).update(masses)
            counted[code] += 1
    # Whole milligrams: a forecast in grams does not miss the fraction.
    return {
        code: {colour: mass // counted[code] for colour, mass in masses.items()}
        for code, masses in found.items()
    }


def part_proposals(*, as_of: Month, level: float = SERVICE_LEVEL) -> tuple[PartProposal, ...]:
    """Propose what to order of every part, from what left its bin for customers in twelve months.

    `level` is the share of requests that the shelf shall meet, above 0 and below 1.
    Pieces on order are not known here: take off by hand what is on its way. Four questions to
    the database.
    """
    used = _used(as_of)
    hands = dict(
        Balance.objects.filter(place__kind=PlaceKind.BIN).values_list("place__part", "quantity")
    )
    # Balances and reservations are read for all parts at once, not part by part.
    reserved = dict(
        Reservation.objects.filter(state=ReservationState.OPEN)
        .order_by()
        .values_list("part")
        .annotate(Sum("pieces"))
    )
    return tuple(
        _proposal(part, used[part.pk], (hands.get(part.pk, 0), reserved.get(part.pk, 0)), level)
        for part in Part.objects.order_by("code")
    )


def _used(as_of: Month) -> defaultdict[int, tuple[int, ...]]:
    """Pieces per month, oldest first; a reversal gives its pieces back to its own month."""
    last = index(as_of)
    months = [str(by_index(n)) for n in range(last - MONTHS_LOOKED_AT + 1, last + 1)]
    # A reversal is the mirror image, so its pieces go back into the bin: source and target change
    # places.
    leaving = Q(movement__reverses=None, source__kind=PlaceKind.BIN)
    back = Q(movement__reverses__isnull=False, target__kind=PlaceKind.BIN)
    rows = (
        Posting.objects.filter(
            leaving | back,
            movement__kind__in=["post_kit", "fit_part"],
            movement__month__in=months,
        )
        .order_by()
        .values_list("movement__month", "source__part", "target__part")
        .annotate(pieces=Sum("quantity"))
    )
    first_seen = Posting.objects.filter(source__unit="pc").order_by("movement__month")
    # Before the first piece was booked there was no book, not no demand: such months must not count
    # as zeros, or the base stock of a young workshop comes out too low.
    began = first_seen.values_list("movement__month", flat=True).first() or months[-1]
    lived = [month for month in months if month >= began]
    counts: Counter[tuple[int, str]] = Counter()
    for month, source, target, pieces in rows:
        if source is not None:
            counts[source, month] += pieces
        else:
            counts[target, month] -= pieces
    found: defaultdict[int, tuple[int, ...]] = defaultdict(lambda: (0,) * len(lived))
    for part in {part for part, _month in counts}:
        # Pieces given back in a later month than they were taken in can leave that month below
        # zero.
        found[part] = tuple(max(0, counts[part, month]) for month in lived)
    return found


def _proposal(
    part: Part, used: tuple[int, ...], held: tuple[int, int], level: float
) -> PartProposal:
    on_hand, reserved = held
    stock: int | None = None
    missing: Missing | None = None
    try:
        monthly = spares.cautious_demand(used)
        # Demand is by month, the lead time in days. An order waits for somebody to look at the
        # list, so the shelf must last from one look to the next and until the goods are there.
        lead = monthly.over((REVIEW_DAYS + max(1, part.lead_time_days)) / DAYS_PER_MONTH)
        stock = spares.base_stock(lead, level=level) if monthly.mean > 0 else 0
    except EvidenceError as error:
        missing = Missing.because(error)
    holding = spares.Holding(
        # Orders with sellers are not in the books, so none is taken off here; the page says so.
        on_hand=max(0, on_hand),
        on_order=0,
        reserved=reserved,
        pack_size=max(1, part.pack_size),
    )
    return PartProposal(
        code=part.code,
        name=part.name,
        used_months=used,
        lead_time_days=part.lead_time_days,
        on_hand=on_hand,
        reserved=reserved,
        base_stock=stock,
        # The owner's reorder level is a floor: what few data say must not talk a careful owner out
        # of it.
        order=spares.propose_order(holding, target=max(stock or 0, part.reorder_level)),
        missing=missing,
    )
