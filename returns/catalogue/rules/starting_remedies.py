"""Remedies to start from, offered to a new workshop: each one a judgement, typed and not measured.

Minutes and odds are our own choice; gradings replace them bit by bit with the workshop's outcomes.
Cautions are common practice, no source; the machine's manual and local rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext_noop as _

from returns.models.catalogue import ComponentKind as Kind
from returns.models.remedies import DefectKey as Defect
from returns.models.remedies import Method


@dataclass(frozen=True, slots=True)
class Starting:
    """A remedy as it would be entered. Odds are successes in a hundred tries."""

    key: str
    name: str
    answers: tuple[Kind, Defect]
    method: Method
    minutes: int
    odds_percent: int
    steps: tuple[str, ...]
    caution: str = ""

    @property
    def needs_larger_screw(self) -> bool:
        return self.method == Method.STEP_UP

    @property
    def uses_own_part(self) -> bool:
        return self.method == Method.REPLACE


_TAKE_OUT = _("Take the screw out, keep it in the tray")
_FIT_ARM = (_TAKE_OUT, _("Fit the new arm"), _("Check how far it opens"))
_HOT = _("Hot: heat-resistant gloves, and mind what drips.")
_WHEEL = _("Eye protection and dust mask at the wheel; nothing loose near it.")
_DRILL = _("Clamp it, never hold it by hand. Eye protection when drilling.")
_SMALL = _("Tiny part: work over the tray, away from children.")

STARTING: Final = (
    Starting(
        "start-tighten-screw",
        _("Tighten the hinge screw"),
        (Kind.SCREW, Defect.LOOSE),
        Method.TIGHTEN,
        3,
        95,
        (_("Turn it in until flush, no further"), _("Open and close the arm ten times")),
        _("The thread is in plastic: do not overtighten."),
    ),
    Starting(
        "start-new-screw",
        _("Fit a new hinge screw"),
        (Kind.SCREW, Defect.MISSING),
        Method.REPLACE,
        5,
        95,
        (_("Clean the hole"), _("Turn the new screw in by hand until flush")),
        _SMALL,
    ),
    Starting(
        "start-snapped-screw",
        _("Take out a snapped screw, fit a new one"),
        (Kind.SCREW, Defect.SNAPPED),
        Method.REPLACE,
        10,
        80,
        (_("Draw the stump out"), _("Clean the hole"), _("Turn the new screw in by hand")),
        _("Eye protection: the stump may spring."),
    ),
    Starting(
        "start-step-up-arm",
        _("Tap the arm's worn hole one size up"),
        (Kind.ARM, Defect.STRIPPED),
        Method.STEP_UP,
        10,
        80,
        (_("Measure the wall"), _("Drill and tap one size up"), _("Fit the larger screw")),
        _DRILL,
    ),
    Starting(
        "start-step-up-front",
        _("Tap the front's worn hole one size up"),
        (Kind.FRONT, Defect.STRIPPED),
        Method.STEP_UP,
        12,
        75,
        (_("Measure the wall"), _("Drill and tap one size up"), _("Fit the larger screw")),
        _DRILL,
    ),
    Starting(
        "start-new-arm-snapped",
        _("New arm for a snapped one"),
        (Kind.ARM, Defect.SNAPPED),
        Method.REPLACE,
        8,
        95,
        _FIT_ARM,
        _("Broken ends are sharp."),
    ),
    Starting(
        "start-new-arm-pivot",
        _("New arm for one cracked at the pivot"),
        (Kind.ARM, Defect.CRACKED_PIVOT),
        Method.REPLACE,
        8,
        95,
        _FIT_ARM,
    ),
    Starting(
        "start-new-arm-offset",
        _("New arm for one with its hole out of place"),
        (Kind.ARM, Defect.OFFSET),
        Method.REPLACE,
        8,
        95,
        _FIT_ARM,
    ),
    Starting(
        "start-new-arm-missing",
        _("New arm for a missing one"),
        (Kind.ARM, Defect.MISSING),
        Method.REPLACE,
        7,
        95,
        (_("Fit the new arm"), _("Check how far it opens")),
    ),
    Starting(
        "start-reshape-arm",
        _("Warm the arm and reshape it"),
        (Kind.ARM, Defect.WARPED),
        Method.RESHAPE,
        7,
        80,
        (_("Warm it evenly"), _("Form it over the jig"), _("Let it cool in the jig")),
        _HOT,
    ),
    Starting(
        "start-reshape-front",
        _("Warm the front and reshape it"),
        (Kind.FRONT, Defect.WARPED),
        Method.RESHAPE,
        10,
        70,
        (
            _("Take the lenses out"),
            _("Warm it evenly"),
            _("Form it over the jig"),
            _("Let it cool in the jig"),
        ),
        _HOT,
    ),
    Starting(
        "start-polish-front",
        _("Polish the front"),
        (Kind.FRONT, Defect.SCUFFED),
        Method.POLISH,
        7,
        90,
        (_("Cover the lenses"), _("Polish from coarse to fine")),
        _WHEEL,
    ),
    Starting(
        "start-polish-arm",
        _("Polish the arm"),
        (Kind.ARM, Defect.SCUFFED),
        Method.POLISH,
        5,
        90,
        (_("Polish from coarse to fine"),),
        _WHEEL,
    ),
    Starting(
        "start-weld-front",
        _("Weld a crack in the front, away from the pivot"),
        (Kind.FRONT, Defect.CRACKED),
        Method.GLUE,
        15,
        50,
        (_("Take the lenses out"), _("Weld with rod of the same polymer"), _("Dress it flat")),
        _("Hot tip and fumes: extraction on, nobody's face above it."),
    ),
    Starting(
        "start-close-groove",
        _("Close a worn lens groove"),
        (Kind.FRONT, Defect.GROOVE),
        Method.RESHAPE,
        9,
        60,
        (_("Warm the rim"), _("Close the groove"), _("Try the lens")),
        _HOT,
    ),
)
