"""Furnish an empty database with the demo workshop's masters, read from `fixtures/demo`."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from inventory.masters.rules import swatches_mixed
from inventory.models import (
    Admission,
    BlendShare,
    ClassPrice,
    Colour,
    Part,
    Polymer,
    Scale,
    Workshop,
)
from returns.models import (
    Colourway,
    Component,
    DifferingComponent,
    FrameModel,
    Policy,
    Remedy,
    RemedyPart,
    RepairScores,
    Terms,
)

SOURCE = Path("fixtures") / "demo" / "masters.json"

ARM_WALL_UM = 1_450
_OF_AN_ARM = ("nominal_mg", "price_minor", "reorder_level", "pack_size", "lead_time_days")
FRONT_WALL_UM = 1_500


def read() -> dict[str, Any]:
    """Return the masters as they stand in the file."""
    facts: dict[str, Any] = json.loads((settings.BASE_DIR / SOURCE).read_text(encoding="utf-8"))
    return facts


@transaction.atomic
def furnish(*, today: date) -> None:
    """Create every master row. For an empty database; the caller checks that it is one."""
    facts = read()
    _workshop(facts["workshop"])
    polymer = Polymer.objects.create(**facts["polymers"][0])
    colours = {row["code"]: Colour.objects.create(**row) for row in facts["colours"]}
    for row in facts["blends"]:
        _blend(row, colours)
    for into, others in facts["admissions"].items():
        for code in others:
            Admission.objects.create(into=colours[into], of=colours[code])
    for row in facts["class_prices"]:
        ClassPrice.objects.create(polymer=polymer, **row)
    for row in facts["scales"]:
        # Counted from the day of loading: a fixed day would be overdue in every later demo.
        due = today + timedelta(days=row.pop("check_due_in_days"))
        Scale.objects.create(check_due=due, **row)
    parts = {row["code"]: Part.objects.create(**row) for row in facts["parts"]}
    for row in facts["models"]:
        _model(row, facts["arm_part"], parts["screw-m14"], polymer, colours)
    for row in facts["remedies"]:
        _remedy(row, parts)
    Policy.the()
    Terms.objects.update_or_create(pk=1, defaults=facts["terms"])


def _blend(row: dict[str, Any], colours: dict[str, Colour]) -> None:
    """Enter a blend with its recipe, drawn as the set-up draws it."""
    shares = sorted(row["shares"].items(), key=lambda share: -share[1])
    swatches = [(colours[code].swatch, ppm) for code, ppm in shares]
    is_marbled = row["is_marbled"]
    blend = Colour.objects.create(
        code=row["code"],
        name=row["name"],
        kind=Colour.Kind.BLEND,
        tolerance_ppm=row["tolerance_ppm"],
        swatch=swatches[0][0] if is_marbled else swatches_mixed(swatches),
        veins=" ".join(swatch for swatch, _ppm in swatches[1:]) if is_marbled else "",
    )
    for code, ppm in shares:
        BlendShare.objects.create(blend=blend, of=colours[code], share_ppm=ppm)
    colours[blend.code] = blend


def _workshop(facts: dict[str, Any]) -> None:
    Workshop.objects.update_or_create(pk=1, defaults={**facts, "demo": True})


def _model(
    row: dict[str, Any],
    arm_facts: dict[str, Any],
    screw: Part,
    polymer: Polymer,
    colours: dict[str, Colour],
) -> None:
    model = FrameModel.objects.create(
        code=row["code"],
        name=row["name"],
        rim=row["rim"],
        new_frame_cost_minor=row["new_frame_cost_minor"],
        expected_life_months=row["expected_life_months"],
    )
    arm = Part.objects.create(
        code=f"arm-{row['code']}",
        name=f"Arm, {row['name']}",
        nominal_mg=row["arm_mg"],
        **arm_facts,
    )
    _bill(model, row, arm, screw)
    for kind, scores in row["repair_scores"].items():
        RepairScores.objects.create(model=model, kind=kind, **scores)
    for code in row["colours"]:
        Colourway.objects.create(model=model, polymer=polymer, colour=colours[code])
    for look in row.get("looks", ()):
        _look(model, look, arm, polymer, colours)


def _look(
    model: FrameModel,
    look: dict[str, str],
    arm: Part,
    polymer: Polymer,
    colours: dict[str, Colour],
) -> None:
    """A colourway whose arms are of another material, with a spare arm of their own."""
    front, arms = colours[look["front"]], colours[look["arms"]]
    way = Colourway.objects.create(
        model=model,
        polymer=polymer,
        colour=front,
        variant=look["variant"],
        name=look["name"],
        lens_tint=look["lens_tint"],
    )
    facts = {name: getattr(arm, name) for name in _OF_AN_ARM}
    own = Part.objects.create(
        code=f"{arm.code}-{arms.code}",
        name=f"{arm.name}, {arms.name.lower()}",
        polymer=polymer,
        colour=arms,
        **facts,
    )
    for side in ("left", "right"):
        DifferingComponent.objects.create(
            colourway=way, key=f"arm_{side}", polymer=polymer, colour=arms, part=own
        )


def _bill(model: FrameModel, row: dict[str, Any], arm: Part, screw: Part) -> None:
    front, lens = row["front_mg"], row["lens_mg"]
    Component.objects.create(
        model=model,
        key="front",
        kind="front",
        nominal_mg=front,
        spread_mg=front // 100,
        is_frame_material=True,
        wall_um=FRONT_WALL_UM,
    )
    for side in ("left", "right"):
        Component.objects.create(
            model=model,
            key=f"arm_{side}",
            kind="arm",
            nominal_mg=arm.nominal_mg,
            spread_mg=arm.nominal_mg // 80,
            is_frame_material=True,
            part=arm,
            wall_um=ARM_WALL_UM,
        )
        Component.objects.create(
            model=model, key=f"lens_{side}", kind="lens", nominal_mg=lens, spread_mg=lens // 50
        )
        Component.objects.create(
            model=model,
            key=f"screw_{side}",
            kind="screw",
            nominal_mg=screw.nominal_mg,
            spread_mg=3,
            part=screw,
            in_kit=True,
        )


def _remedy(row: dict[str, Any], parts: dict[str, Part]) -> None:
    part = row.pop("part", None)
    remedy = Remedy.objects.create(**row)
    if part is not None:
        RemedyPart.objects.create(remedy=remedy, part=None if part == "own" else parts[part])
