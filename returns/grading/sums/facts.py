"""What a grading takes: the findings, the remedies on offer, prices, stock, limits, the frame.

Each class refuses nonsense when it is made, so the sums behind it need no second look. Money is
in integer minor units, mass in integer milligrams, lengths in mm as Decimal; odds and minutes are
exact fractions and never floats.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

from returns.refusals import Refused

PPM: Final = 1_000_000
RECOVERY_SHARE_PPM: Final = 950_000


class GradingError(Refused):
    """Facts that cannot be graded."""


class Wish(StrEnum):
    """What the customer wants done with a frame that cannot be mended."""

    REGRIND = "regrind"
    POST_BACK = "post_back"


class PolymerCheck(StrEnum):
    """What the bench knows of the plastic."""

    OURS = "ours"
    FOREIGN = "foreign"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Finding:
    """A defect seen on a component, with its severity (1 slight, 2 plain, 3 grave) if noted."""

    component_key: str
    defect_key: str
    severity: int | None = None
    measured_mm: Decimal | None = None

    def __post_init__(self) -> None:
        if self.severity is not None and self.severity not in {1, 2, 3}:
            raise GradingError("finding-severity", "Severity is 1, 2 or 3.")
        _require_not_negative(measured_mm=self.measured_mm)


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing the workshop can do to one component, answering any of `defect_keys`.

    Done once it answers every matching finding on that component, and costs once. `odds` is the
    probability that it passes the bench check; `minutes` is bench time for one try.
    """

    key: str
    component_key: str
    defect_keys: frozenset[str]
    method: str
    minutes: Fraction
    odds: Fraction
    parts: Mapping[str, int] = field(default_factory=dict)
    times_max: int | None = None
    severity_max: int | None = None
    wall_min_mm: Decimal | None = None

    def __post_init__(self) -> None:
        # A frozen dataclass refuses plain assignment; this is its one moment to make the numbers
        # exact.
        object.__setattr__(self, "minutes", _exact("minutes", self.minutes))
        object.__setattr__(self, "odds", _exact("odds", self.odds))
        if not 0 <= self.odds <= 1:
            raise GradingError("remedy-odds", f"The odds of {self.key} must lie in 0 to 1.")
        _require_not_negative(minutes=self.minutes, wall_min_mm=self.wall_min_mm)
        if any(count < 1 for count in self.parts.values()):
            raise GradingError("remedy-parts", f"Each part of {self.key} is needed at least once.")

    def answers(self, finding: Finding) -> bool:
        """Tell whether the remedy is meant for this finding, limits aside."""
        return (
            self.component_key == finding.component_key and finding.defect_key in self.defect_keys
        )


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost, in minor units.

    The ceiling for a repair is `ceiling_minor` if given, else `repair_ceiling_share_ppm` of what
    a replacement costs. `postage_in_minor` is spent before any grading: it is shown, and never
    decides. `recovery_share_ppm` is the share of a frame's mass that becomes usable flake; its
    default is our own cautious choice, until grind runs have told better.
    """

    labour_minor_per_hour: int
    postage_out_minor: int
    new_frame_cost_minor: int
    material_minor_per_kg: int
    regrind_cost_minor: int
    postage_in_minor: int = 0
    part_minor: Mapping[str, int] = field(default_factory=dict)
    repair_ceiling_share_ppm: int = PPM
    ceiling_minor: int | None = None
    recovery_share_ppm: int = RECOVERY_SHARE_PPM

    def __post_init__(self) -> None:
        _require_not_negative(
            labour_minor_per_hour=self.labour_minor_per_hour,
            postage_out_minor=self.postage_out_minor,
            postage_in_minor=self.postage_in_minor,
            new_frame_cost_minor=self.new_frame_cost_minor,
            material_minor_per_kg=self.material_minor_per_kg,
            regrind_cost_minor=self.regrind_cost_minor,
            repair_ceiling_share_ppm=self.repair_ceiling_share_ppm,
            ceiling_minor=self.ceiling_minor,
            **{f"part {key}": price for key, price in self.part_minor.items()},
        )
        if not 0 <= self.recovery_share_ppm <= PPM:
            raise GradingError("recovery-share", "The recovery share lies in 0 to 1 000 000 ppm.")


@dataclass(frozen=True, slots=True)
class Stock:
    """Parts free to be used, by key. A part not named is out of stock."""

    available: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _require_not_negative(**self.available)

    def of(self, part_key: str) -> int:
        """Return the free count of a part."""
        return self.available.get(part_key, 0)


@dataclass(frozen=True, slots=True)
class Ban:
    """A method that is never used on a defect, whatever it costs."""

    defect_key: str
    method: str


@dataclass(frozen=True, slots=True)
class MeasuredLimit:
    """At or beyond `limit_mm` a defect leaves only the methods in `still_allowed`."""

    defect_key: str
    limit_mm: Decimal
    still_allowed: frozenset[str] = frozenset({"replace"})


@dataclass(frozen=True, slots=True)
class Limits:
    """Rules of the bench that overrule money.

    The defaults are common practice, no source: glue does not hold a crack at the pivot, which
    carries the whole opening load; a hole 0.1 mm or more off its centre stops the arm closing;
    a frame mended three times has had its share of bench time.
    """

    bans: tuple[Ban, ...] = (Ban("cracked_at_pivot", "glue"),)
    measured: tuple[MeasuredLimit, ...] = (MeasuredLimit("hole_offset", Decimal("0.1")),)
    mends_max: int = 3
    foreign_defect_keys: frozenset[str] = frozenset({"foreign"})

    def __post_init__(self) -> None:
        _require_not_negative(mends_max=self.mends_max)


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """What is known of the frame on the bench.

    `found_sound` is the bench hand's word that nothing is wrong; without it an empty list of
    findings means only that nobody has looked. `wall_mm` holds the wall left round the hole, by
    component; `times_done` how often each remedy was tried on this frame.
    """

    mass_mg: int
    polymer: PolymerCheck
    model_known: bool
    wish: Wish | None
    mends: int = 0
    found_sound: bool = False
    wall_mm: Mapping[str, Decimal] = field(default_factory=dict)
    times_done: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.mass_mg <= 0:
            raise GradingError("frame-mass", "Weigh the frame in before grading it.")
        _require_not_negative(mends=self.mends)
        _require_not_negative(**{f"wall of {key}": wall for key, wall in self.wall_mm.items()})


def _exact(name: str, number: Fraction | Decimal | int) -> Fraction:
    # Fraction would take a float without a word, with all the digits of its binary form: 0.1 would
    # not be a tenth.
    if isinstance(number, float):
        raise GradingError("not-exact", f"Give {name} as a whole number, Decimal or Fraction.")
    return Fraction(number)


def _require_not_negative(**numbers: Fraction | Decimal | int | None) -> None:
    for name, number in numbers.items():
        if number is not None and number < 0:
            raise GradingError("negative", f"{name} cannot be below zero.")
