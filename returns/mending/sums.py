"""Metric screw threads of spectacle frames: sizes, geometry, and stepping a worn hole up.

Sizes after ISO 11381; the profile after ISO 68-1 and ISO 724. The miniature size S0.8 has another
profile, so it is listed for stepping up and refused by the formulas. Lengths are Decimal mm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from inventory.wording import gettext_noop
from returns.refusals import Refused

_ROOT_3: Final = Decimal(3).sqrt()
_HEIGHT_PER_PITCH: Final = _ROOT_3 / 2
_PITCH_DIAMETER_PER_PITCH: Final = 3 * _ROOT_3 / 8
_NUT_MINOR_PER_PITCH: Final = 5 * _ROOT_3 / 8
_ROOT_PER_PITCH: Final = 17 * _ROOT_3 / 24
_PI: Final = Decimal("3.14159265358979323846")

# Common practice, no source: leave at least half the screw's diameter of plastic beside the hole.
WALL_RATIO_DEFAULT: Final = Decimal("0.5")


class ThreadError(Refused):
    """A thread question without an answer."""


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread size. The two limits bound the outer diameter of a sound screw, tolerance 6g."""

    name: str
    diameter_mm: Decimal
    pitch_mm: Decimal
    major_min_mm: Decimal | None
    major_max_mm: Decimal | None

    @property
    def is_iso_profile(self) -> bool:
        """Whether the ISO 68-1 formulas hold (not for the miniature sizes)."""
        return self.name.startswith("M")


@dataclass(frozen=True, slots=True)
class Geometry:
    """Basic dimensions of a thread, in mm and mm2.

    `pitch_diameter` is d2, `nut_minor` D1, `root` d3, `tap_drill` d - P, `stress_area` the
    circle on the mean of d2 and d3.
    """

    height_mm: Decimal
    pitch_diameter_mm: Decimal
    nut_minor_mm: Decimal
    root_mm: Decimal
    tap_drill_mm: Decimal
    stress_area_mm2: Decimal


@dataclass(frozen=True, slots=True)
class StepUp:
    """The next size for a worn hole, with the wall it leaves and the wall it needs."""

    thread: Thread
    wall_left_mm: Decimal
    wall_needed_mm: Decimal


def _thread(name: str, diameter: str, pitch: str, limits: tuple[str, str] | None) -> Thread:
    low, high = (Decimal(limits[0]), Decimal(limits[1])) if limits else (None, None)
    return Thread(name, Decimal(diameter), Decimal(pitch), low, high)


# 6g limits of M1 and M1.4 were read in a thread table; the others follow ISO 965-1 from memory.
LIMITS_FROM_MEMORY_MM: Final = ("1.2", "1.6", "2")
THREADS: Final = (
    _thread("S0.8x0.2", "0.8", "0.2", None),
    _thread("M1x0.25", "1.0", "0.25", ("0.915", "0.982")),
    _thread("M1.2x0.25", "1.2", "0.25", ("1.115", "1.182")),
    _thread("M1.4x0.3", "1.4", "0.3", ("1.307", "1.382")),
    _thread("M1.6x0.35", "1.6", "0.35", ("1.496", "1.581")),
    _thread("M2x0.4", "2.0", "0.4", ("1.886", "1.981")),
)


def named(name: str) -> Thread:
    """Return the thread of that name, such as `M1.4x0.3`. Raises `ThreadError`."""
    for thread in THREADS:
        if thread.name == name:
            return thread
    known = ", ".join(thread.name for thread in THREADS)
    raise ThreadError(
        "thread-unknown",
        gettext_noop("No thread is called %(name)s. Use one of %(known)s."),
        name=name,
        known=known,
    )


def geometry(thread: Thread) -> Geometry:
    """Work out the basic dimensions of an ISO thread. Raises `ThreadError` for S sizes."""
    _require_iso(thread)
    diameter, pitch = thread.diameter_mm, thread.pitch_mm
    pitch_diameter = diameter - _PITCH_DIAMETER_PER_PITCH * pitch
    root = diameter - _ROOT_PER_PITCH * pitch
    return Geometry(
        height_mm=_HEIGHT_PER_PITCH * pitch,
        pitch_diameter_mm=pitch_diameter,
        nut_minor_mm=diameter - _NUT_MINOR_PER_PITCH * pitch,
        root_mm=root,
        tap_drill_mm=diameter - pitch,
        stress_area_mm2=_PI / 4 * ((pitch_diameter + root) / 2) ** 2,
    )


def engagement_percent(thread: Thread, drill_mm: Decimal) -> Decimal:
    """Return the depth of thread that a drilled hole leaves, in % of twice 3/4 of H.

    100 (d - drill) / (1.29904 P): the thread per cent that drill charts print.
    """
    _require_iso(thread)
    if not 0 < drill_mm <= thread.diameter_mm:
        raise ThreadError(
            "drill-size", "The drill must be above zero and no larger than the screw."
        )
    depth_mm = 2 * _PITCH_DIAMETER_PER_PITCH * thread.pitch_mm
    return 100 * (thread.diameter_mm - drill_mm) / depth_mm


def turns_engaged(thread: Thread, length_mm: Decimal) -> Decimal:
    """Return how many turns of thread lie in `length_mm` of hole."""
    if length_mm < 0:
        raise ThreadError("hole-length", "The length of the hole cannot be below zero.")
    return length_mm / thread.pitch_mm


def wall_needed_now_mm(
    current: Thread, following: Thread, *, wall_ratio: Decimal = WALL_RATIO_DEFAULT
) -> Decimal:
    """Return the least wall beside the hole today that lets it be stepped up to `following`."""
    return wall_ratio * following.diameter_mm + _wall_lost_mm(current, following)


def step_up(
    current: Thread,
    wall_mm: Decimal,
    *,
    wall_ratio: Decimal = WALL_RATIO_DEFAULT,
    stocked: Iterable[Thread] = THREADS,
) -> StepUp:
    """Return the next size up for a hole cut for `current`, while enough wall is left.

    `wall_mm` is the thinnest plastic from the thread's outer diameter to the surface. The wall
    left must be at least `wall_ratio` times the new diameter (the default is common practice, no
    source). Only the very next stocked size is considered: a larger one leaves less wall still.
    Raises `ThreadError`: no-larger-thread or wall-too-thin.
    """
    if wall_mm < 0 or wall_ratio <= 0:
        raise ThreadError("wall-negative", "Give a wall of zero or more and a ratio above zero.")
    larger = [thread for thread in stocked if thread.diameter_mm > current.diameter_mm]
    if not larger:
        raise ThreadError("no-larger-thread", f"No size above {current.name} is stocked.")
    following = min(larger, key=lambda thread: thread.diameter_mm)
    left_mm = wall_mm - _wall_lost_mm(current, following)
    needed_mm = wall_ratio * following.diameter_mm
    if left_mm < needed_mm:
        raise ThreadError(
            "wall-too-thin",
            f"{following.name} would leave {left_mm} mm of wall and needs {needed_mm} mm.",
        )
    return StepUp(following, left_mm, needed_mm)


def classify(major_mm: Decimal, *, uncertainty_mm: Decimal = Decimal("0.01")) -> tuple[Thread, ...]:
    """Return the ISO sizes that a measured outer diameter may belong to, smallest first.

    `uncertainty_mm` is the expanded uncertainty of the reading (0.01 mm: our choice for a
    caliper); it widens each size's limits both ways. Empty means no size fits: worn, an S size,
    or no metric screw.
    """
    if major_mm <= 0 or uncertainty_mm < 0:
        raise ThreadError("diameter", "Give a diameter above zero, uncertainty zero or more.")
    return tuple(thread for thread in THREADS if _may_be(thread, major_mm, uncertainty_mm))


def _may_be(thread: Thread, major_mm: Decimal, uncertainty_mm: Decimal) -> bool:
    if thread.major_min_mm is None or thread.major_max_mm is None:
        return False
    low, high = thread.major_min_mm - uncertainty_mm, thread.major_max_mm + uncertainty_mm
    return low <= major_mm <= high


def _wall_lost_mm(current: Thread, following: Thread) -> Decimal:
    return (following.diameter_mm - current.diameter_mm) / 2


def _require_iso(thread: Thread) -> None:
    if not thread.is_iso_profile:
        raise ThreadError(
            "miniature-profile", f"{thread.name} has the miniature profile: look it up instead."
        )
