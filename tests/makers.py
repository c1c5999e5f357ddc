"""Small builders for tests. Invented: reading glasses from nursery pots, named after waders."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from django.contrib.auth.models import Group, User

from inventory.ledger.rules import ledger, places
from inventory.models import Colour, Part, PlaceKind, Polymer, Scale, Workshop
from inventory.parts import rules as stock
from inventory.staff.rules import tokens
from returns.models import (
    Colourway,
    Component,
    FrameModel,
    Policy,
    ProductionBatch,
    Remedy,
    RemedyPart,
)

# Codes of the furnished workshop by the name of their field, so that bodies reach the rules.
CODES: Final = {
    "batch": "AV-2601",
    "part": "screw-m14",
    "scale": "Fine scale",
    "fine_scale": "Fine scale",
    "colourway": "avocet/slate",
    "polymer": "PP",
    "colour": "slate",
    "remedy": "new-arm",
    "component": "arm_left",
    "defect": "snapped",
    "wish": "regrind",
    "evidence": "letter",
    "outcome": "hold",
    "month": "2026-02",
    "mass": "24,820",
}

NOON = datetime(2026, 10, 14, 10, 0, tzinfo=UTC)
PASSWORD = "a-long-test-password"


def key() -> uuid.UUID:
    return uuid.uuid4()


def user(name: str, *groups: str) -> User:
    person = User.objects.create_user(name, f"{name}@example.org", PASSWORD)
    person.groups.set(Group.objects.filter(name__in=groups))
    return person


def token(user: User, *scopes: str, at: datetime, **facts: Any) -> str:
    """The text of a machine's token, which a person made for their own roles."""
    about = {"name": "test machine", "days": 30} | facts
    _row, text = tokens.issue(key=key(), user=user, by=user, scopes=scopes, at=at, **about)
    return text


@dataclass(frozen=True)
class Shop:
    """What `shop()` furnished."""

    workshop: Workshop
    pp: Polymer
    slate: Colour
    moss: Colour
    avocet: FrameModel
    avocet_slate: Colourway
    avocet_moss: Colourway
    batch: ProductionBatch
    screw: Part
    arm: Part
    fine_scale: Scale
    box_scale: Scale


def scale(name: str = "Bench scale", **changes: object) -> Scale:
    facts: dict[str, object] = {
        "accuracy": "II",
        "division_mg": 10,
        "verification_mg": 100,
        "capacity_mg": 600_000,
        "minimum_mg": 500,
        "check_due": date(2027, 6, 30),
    }
    return Scale.objects.create(name=name, **(facts | changes))


def stocked(part: Part, pieces: int) -> None:
    stock.receive(key=key(), part=part, pieces=pieces, cost_minor=0, at=NOON - timedelta(days=60))


BILL = [
    # key, kind, nominal mg, spread mg, frame material, in kit
    ("front", "front", 11_200, 120, True, False),
    ("arm_left", "arm", 4_100, 60, True, False),
    ("arm_right", "arm", 4_100, 60, True, False),
    ("screw_left", "screw", 110, 3, False, True),
    ("screw_right", "screw", 110, 3, False, True),
    ("lens_left", "lens", 2_600, 40, False, False),
    ("lens_right", "lens", 2_600, 40, False, False),
]


def shop() -> Shop:
    workshop = Workshop.the()
    workshop.name = "Tidewrack Frames"
    workshop.address = "4 Sluice Lane\n12345 Saltmarsh"
    workshop.label_width_mm, workshop.label_height_mm = 70, 40
    workshop.save()
    Policy.the()
    pp = Polymer.objects.create(code="PP", name="Polypropylene")
    slate = Colour.objects.create(code="slate", name="Slate", swatch="#4a5560")
    moss = Colour.objects.create(code="moss", name="Moss", swatch="#5c6b3c")
    screw = Part.objects.create(
        code="screw-m14",
        name="Hinge screw M1.4",
        nominal_mg=110,
        price_minor=12,
        screw_size="M1.4",
        reorder_level=20,
        pack_size=50,
    )
    step_screw = Part.objects.create(
        code="screw-m16",
        name="Hinge screw M1.6",
        nominal_mg=150,
        price_minor=14,
        screw_size="M1.6",
        reorder_level=20,
        pack_size=50,
    )
    arm = Part.objects.create(
        code="arm-avocet", name="Arm, Avocet", nominal_mg=4_100, price_minor=160
    )
    avocet = FrameModel.objects.create(code="avocet", name="Avocet", new_frame_cost_minor=1450)
    for comp, kind, nominal, spread, plastic, in_kit in BILL:
        Component.objects.create(
            model=avocet,
            key=comp,
            kind=kind,
            nominal_mg=nominal,
            spread_mg=spread,
            is_frame_material=plastic,
            in_kit=in_kit,
            part={"screw": screw, "arm": arm}.get(kind),
            wall_um=1_300 if kind == "arm" else None,
        )
    avocet_slate = Colourway.objects.create(model=avocet, polymer=pp, colour=slate)
    avocet_moss = Colourway.objects.create(model=avocet, polymer=pp, colour=moss)
    batch = ProductionBatch.objects.create(
        code="AV-2601",
        colourway=avocet_slate,
        made_on=date(2026, 1, 20),
        pieces=120,
        heat=[[2, 1_000_000]],
    )
    remedies(step_screw)
    stocked(screw, 100)
    stocked(step_screw, 40)
    stocked(arm, 6)
    return Shop(
        workshop=workshop,
        pp=pp,
        slate=slate,
        moss=moss,
        avocet=avocet,
        avocet_slate=avocet_slate,
        avocet_moss=avocet_moss,
        batch=batch,
        screw=screw,
        arm=arm,
        # Checked, so that sums by hand have few parts: of its own two roundings, 1 mg/√6; shared
        # with all its readings the class's limit as a rectangle, 10 mg/√3 and above 50 g 20 mg/√3.
        fine_scale=scale(
            "Fine scale",
            division_mg=1,
            verification_mg=10,
            capacity_mg=210_000,
            minimum_mg=20,
            certificate=[[50_000, 0, 5_774], [50_001, 0, 11_547]],
            repeatability_ug=0,
            repeats=10,
            eccentricity_ug=0,
            eccentricity_load_mg=100_000,
            drift_ppm=0,
        ),
        box_scale=scale(
            "Box scale",
            accuracy="III",
            division_mg=1000,
            verification_mg=1000,
            capacity_mg=15_000_000,
            minimum_mg=20_000,
        ),
    )


def remedies(step_screw: Part) -> None:
    rows = [
        ("tighten", "screw", "loose_screw", "tighten", 3, 950_000),
        ("new-screw", "screw", "missing", "replace", 5, 970_000),
        ("step-up", "arm", "stripped_hole", "step_up", 9, 850_000),
        ("new-arm", "arm", "snapped", "replace", 8, 960_000),
        ("new-arm-pivot", "arm", "cracked_pivot", "replace", 8, 960_000),
        ("reshape-arm", "arm", "warped", "reshape", 7, 800_000),
        ("polish-front", "front", "scuffed", "polish", 6, 900_000),
    ]
    for slug, kind, defect, method, minutes, odds in rows:
        remedy = Remedy.objects.create(
            key=slug,
            name=slug.replace("-", " "),
            component_kind=kind,
            defect=defect,
            method=method,
            minutes=minutes,
            odds_ppm=odds,
        )
        if method == "step_up":
            RemedyPart.objects.create(remedy=remedy, part=step_screw)
        elif method == "replace":
            RemedyPart.objects.create(remedy=remedy, part=None)


def opening(place_mg: int, shop_: Shop) -> None:
    """Put some post-consumer slate in its box, as an opening count."""
    box = places.box(polymer=shop_.pp, colour=shop_.slate, origin="post_consumer_return")
    line = ledger.Line(places.mass(PlaceKind.UNEXPLAINED), box, place_mg)
    ledger.post(
        key=key(),
        kind="opening",
        lines=[line],
        happened_at=NOON - timedelta(days=50),
        story=ledger.Story(heat=[[2, 1_000_000]]),
    )
