"""What the scenario sells and what becomes of each piece, drawn before any of it is played.

No database and no clock: months are numbered from the first month of the books, and moments are
counted in months. A piece meets its first break from causes that compete, each a Weibull span of
its own; the earliest one breaks it. Some owners send it back, the others do not. All figures are
invented, for the demo only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import log
from random import Random

# One of the many years that these chances give: an ordinary one, but for the weak batch.
SEED = 6
YEAR_MONTHS = 12
SENT_BACK = 0.7
LAG_MONTHS = (0.05, 0.5)
POST_DAYS = (2, 6)
FATES = {"plain": 89, "withdrawn": 3, "no slip": 4, "two frames": 2, "empty": 1, "stranger": 1}
BATCH_RESERVE = 4
SCREW_LOST_A_MONTH = 0.007


@dataclass(frozen=True, slots=True)
class Cause:
    """One way to break: the Weibull shape, and by model the share it breaks in the first year.

    A shape below 1 wears off with age (a moulding fault), 1 is chance, above 1 is wear.
    """

    component: str
    defect: str
    shape: float
    in_a_year: Mapping[str, float]

    def months(self, random: Random, share: float) -> float:
        """Draw a span in months by inversion; `share` fixes the scale."""
        # From 1 - exp(-(12 / scale) ** shape) = share, solved for the scale.
        scale = YEAR_MONTHS / (-log(1 - share)) ** (1 / self.shape)
        return float(scale * (-log(1 - random.random())) ** (1 / self.shape))


def _cause(component: str, defect: str, shape: float, *shares: float) -> Cause:
    return Cause(component, defect, shape, dict(zip(MODELS, shares, strict=True)))


MODELS = ("avocet", "dunlin", "godwit")
CAUSES = (
    _cause("arm", "snapped", 1.2, 0.060, 0.040, 0.075),
    _cause("arm", "stripped_hole", 1.7, 0.045, 0.030, 0.075),
    _cause("arm", "cracked_pivot", 1.1, 0.030, 0.018, 0.040),
    _cause("arm", "warped", 1.0, 0.030, 0.018, 0.030),
    _cause("arm", "hole_offset", 0.6, 0.010, 0.008, 0.010),
    _cause("front", "snapped", 1.0, 0.050, 0.035, 0.040),
    _cause("front", "cracked_pivot", 1.2, 0.030, 0.012, 0.035),
    _cause("front", "cracked", 1.1, 0.030, 0.020, 0.025),
    _cause("front", "scuffed", 1.6, 0.020, 0.015, 0.025),
    _cause("front", "groove_worn", 2.2, 0.015, 0.010, 0.030),
    _cause("front", "warped", 1.0, 0.012, 0.008, 0.010),
    _cause("screw", "missing", 1.0, 0.020, 0.015, 0.020),
    _cause("screw", "snapped", 1.3, 0.015, 0.010, 0.015),
)
# One batch was moulded from too much of the workshop's own scrap: its fronts crack at the pivot
# early. Nothing says so on a page; the owner finds it in the figures.
WEAK_WAY = ("dunlin", "slate")
WEAK_MONTH = 3
WEAKNESS = _cause("front", "cracked_pivot", 1.0, 0.0, 0.65, 0.0)

WAYS: tuple[tuple[str, str, int], ...] = (
    ("avocet", "slate", 17),
    ("avocet", "tideline", 13),
    ("avocet", "terracotta", 14),
    ("dunlin", "slate", 16),
    ("dunlin", "sand", 9),
    ("godwit", "moss", 12),
    ("godwit", "terracotta", 11),
    ("godwit", "sand", 8),
)
"""Model, colour, and its part of a month's sales in percent."""

SOLD_BY_MONTH = (220, 240, 260, 270, 290, 310, 340, 310, 340, 370, 420, 460, 400, 420, 440)
"""Pieces a month from the first month of the books: a young workshop, with a quiet month in it."""


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch to be moulded in a month, and what is sold of it in which later month."""

    model: str
    colour: str
    month: int
    sold: tuple[tuple[int, int], ...]

    @property
    def pieces(self) -> int:
        return sum(pieces for _month, pieces in self.sold) + BATCH_RESERVE

    @property
    def is_weak(self) -> bool:
        return (self.model, self.colour) == WEAK_WAY and self.month == WEAK_MONTH


@dataclass(frozen=True, slots=True)
class Break:
    """A piece that broke first by `cause`, filed so many months from the first, and what became
    of its parcel after so many days in the wearer's hands and the post."""

    batch: Batch
    sold: int
    filed: float
    cause: Cause
    fate: str
    days: int


@dataclass(frozen=True, slots=True)
class LostScrew:
    """A wearer asks for a spare screw; `filed` in months from the first."""

    batch: Batch
    filed: float


def batches(months: int) -> tuple[Batch, ...]:
    """Mould every colourway every other month, enough for what is sold until the next time.

    `months` is how many months of the books have sales to them. Those of month -1 were moulded
    before the books began.
    """
    made = []
    for number, (model, colour, part) in enumerate(WAYS):
        moulded = [-1, *(month for month in range(months) if (month + number) % 2 == 0)]
        for month, following in zip(moulded, [*moulded[1:], months], strict=True):
            sold = tuple((n, _sold(n, part)) for n in range(month + 1, following + 1))
            made.append(Batch(model, colour, month, tuple(row for row in sold if row[0] < months)))
    return tuple(sorted(made, key=lambda batch: batch.month))


def _sold(month: int, part: int) -> int:
    return round(SOLD_BY_MONTH[min(month, len(SOLD_BY_MONTH) - 1)] * part / 100)


def chance(batch: Batch) -> Random:
    """Return the batch's own chance, so that its fate does not hang on what else is drawn."""
    # Seeded by a text: Python hashes it in a fixed way, unlike `hash`, which is salted for each
    # process.
    return Random(f"{SEED} {batch.model} {batch.colour} {batch.month}")  # noqa: S311


def breaks(random: Random, batch: Batch, *, is_weak: bool | None = None) -> Iterator[Break]:
    """Yield every first break of a batch that is sent back, in the order of sale.

    `is_weak` may be said otherwise than the batch has it.
    """
    weak = batch.is_weak if is_weak is None else is_weak
    for month, pieces in batch.sold:
        for _piece in range(pieces):
            # Causes compete: each draws its span, and the shortest breaks the piece.
            months, cause = min(_spans(random, batch, weak), key=lambda span: span[0])
            filed = month + random.random() + months + random.uniform(*LAG_MONTHS)
            fate = random.choices(list(FATES), weights=list(FATES.values()))[0]
            days = random.randint(*POST_DAYS)
            # Drawn for every piece, sent back or not, so that another share moves no other piece's
            # fate.
            if random.random() < SENT_BACK:
                yield Break(batch, month, filed, cause, fate, days)


def _spans(random: Random, batch: Batch, is_weak: bool) -> Iterator[tuple[float, Cause]]:
    for cause in CAUSES:
        yield cause.months(random, cause.in_a_year[batch.model]), cause
    if is_weak:
        yield WEAKNESS.months(random, WEAKNESS.in_a_year[batch.model]), WEAKNESS


def lost_screws(random: Random, batch: Batch) -> Iterator[LostScrew]:
    """Yield requests for spare screws: chance alone, the same in every month of a piece's life."""
    for month, pieces in batch.sold:
        for _piece in range(pieces):
            months = random.expovariate(SCREW_LOST_A_MONTH)
            yield LostScrew(batch, month + random.random() + months)
