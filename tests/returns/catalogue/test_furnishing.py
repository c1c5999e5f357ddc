"""Furnishing a new workshop by its rules, and what its checklist says of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, KeyReused
from inventory.masters import rules as masters
from inventory.models import Colour, Event, Part, Place, Polymer, Scale, Workshop
from returns.catalogue.rules import model_setup
from returns.catalogue.rules.starting_remedies import STARTING
from returns.models import FrameModel, Policy, Remedy
from returns.setup import queries as readiness
from tests.makers import NOON, Shop, key
from tests.returns import customer_makers as customers

pytestmark = pytest.mark.django_db

WORKSHOP = {
    "name": "Reedbed Frames",
    "address": "9 Weir Road\n12345 Saltmarsh",
    "country": "DE",
    "email": "reedbed@example.org",
    "currency": "EUR",
    "promise_days": 14,
}
SCALE = {
    "name": "Fine scale",
    "accuracy": "II",
    "division_mg": 10,
    "verification_mg": 100,
    "capacity_mg": 600_000,
    "minimum_mg": 2_000,
    "check_due": None,
}
PART: dict[str, Any] = {
    "name": "Hinge screw M1.4",
    "code": "",
    "nominal_mg": 105,
    "price_minor": 9,
    "screw_size": "M1.4",
    "length_um": None,
    "pack_size": 50,
}
BILL = model_setup.Bill(
    front_mg=11_200, arm_mg=4_150, lens_mg=2_600, screw_mg=105, spread_ppm=10_000
)


def enter(rule: Any, olga: User, facts: dict[str, Any], **more: Any) -> Any:
    return rule(key=more.get("key", key()), facts=facts, at=NOON, by=olga)


def plover(olga: User) -> model_setup.NewModel:
    polymer = enter(masters.add_polymer, olga, {"code": "PP", "name": "Polypropylene"})
    slate = enter(masters.add_colour, olga, {"name": "Slate", "code": "", "swatch": "#4a5560"})
    screw = enter(masters.add_part, olga, PART)
    return model_setup.NewModel(
        name="Plover",
        code="",
        new_frame_cost_minor=1480,
        expected_life_months=24,
        polymer=polymer,
        colours=(slate,),
        bill=BILL,
        screw_part=screw,
    )


def open_steps() -> list[str]:
    return [step.name for step in readiness.steps() if step.is_needed and not step.is_done]


def test_an_empty_workshop_opens_when_the_last_needed_step_is_done(olga: User) -> None:
    needed = ["workshop", "scale", "polymer", "colours", "model", "remedies"]
    assert open_steps() == needed
    data = plover(olga)
    assert open_steps() == ["workshop", "scale", "model", "remedies"]
    model_setup.add_model(key=key(), data=data, at=NOON, by=olga)
    enter(masters.add_scale, olga, SCALE)
    model_setup.take_remedies(
        key=key(), chosen=["start-polish-front"], larger_screw=None, at=NOON, by=olga
    )
    assert open_steps() == ["workshop"]
    assert not readiness.is_open()
    enter(masters.set_workshop, olga, WORKSHOP)
    assert readiness.is_open()


def test_a_workshop_that_has_customers_stays_open(shop: Shop) -> None:
    assert readiness.is_open()
    customers.sent_back(shop)
    Scale.objects.update(in_use=False)
    assert readiness.is_open()


@pytest.mark.parametrize("hidden", ["model", "colourway", "bill"])
def test_what_cannot_be_chosen_is_no_model(shop: Shop, hidden: str) -> None:
    assert open_steps() == []
    if hidden == "model":
        FrameModel.objects.update(active=False)
    elif hidden == "colourway":
        shop.avocet.colourways.update(active=False)
    else:
        shop.avocet.components.update(is_frame_material=False)
    assert open_steps() == ["model"]


def test_the_workshop_is_written_once_under_one_key_and_can_change(olga: User) -> None:
    once = key()
    for _ in range(2):
        enter(masters.set_workshop, olga, WORKSHOP, key=once)
    assert Workshop.the().name == "Reedbed Frames"
    enter(masters.set_workshop, olga, WORKSHOP | {"name": "Weir Frames"})
    assert Workshop.the().name == "Weir Frames"
    with pytest.raises(KeyReused):
        enter(masters.set_workshop, olga, WORKSHOP | {"name": "Third"}, key=once)
    events = Event.objects.filter(name="masters.set_workshop")
    assert events.count() == 2
    assert "Weir" not in str(list(events.values_list("detail", "subject", "fingerprint")))


@pytest.mark.parametrize(
    ("rule", "facts", "field"),
    [
        (masters.set_workshop, WORKSHOP | {"country": "de"}, "country"),
        (masters.set_workshop, WORKSHOP | {"currency": "euro"}, "currency"),
        (masters.set_workshop, WORKSHOP | {"address": " \n"}, "address"),
        (masters.set_workshop, WORKSHOP | {"email": "nobody"}, "email"),
        (masters.set_workshop, WORKSHOP | {"retention_days": 29}, "retention_days"),
        (masters.add_scale, SCALE | {"division_mg": 101}, "division_mg"),
        (masters.add_scale, SCALE | {"minimum_mg": 600_000}, "minimum_mg"),
        (masters.add_scale, SCALE | {"accuracy": "V"}, "accuracy"),
        (masters.add_scale, SCALE | {"name": ""}, "name"),
        (masters.add_polymer, {"code": "", "name": "x"}, "code"),
        (masters.add_polymer, {"code": "pp", "name": "x"}, "code"),
        (masters.add_polymer, {"code": "P", "name": "x"}, "code"),
        (masters.add_colour, {"name": "Slate", "code": "", "swatch": "grey"}, "swatch"),
        (masters.add_colour, {"name": "…", "code": "", "swatch": "#111111"}, "code"),
        (masters.add_part, PART | {"screw_size": "14"}, "screw_size"),
        (masters.add_part, PART | {"pack_size": 0}, ""),
    ],
)
def test_what_will_not_do_is_named_and_nothing_is_kept(
    olga: User, rule: Any, facts: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        enter(rule, olga, facts)
    assert refused.value.field == field
    assert not Event.objects.filter(name__startswith="masters.").exists()
    assert not any(table.objects.exists() for table in (Scale, Polymer, Colour, Part))


@pytest.mark.parametrize(
    ("rule", "facts"),
    [
        (masters.add_scale, SCALE),
        (masters.add_polymer, {"code": "PP", "name": "Polypropylene"}),
        (masters.add_colour, {"name": "Slate", "code": "slate", "swatch": "#4a5560"}),
        (masters.add_part, PART),
    ],
)
def test_a_repeat_gives_the_same_row_and_a_twin_is_refused(
    olga: User, rule: Any, facts: dict[str, Any]
) -> None:
    once = key()
    first = enter(rule, olga, facts, key=once)
    assert enter(rule, olga, facts, key=once) == first
    with pytest.raises(BadInput):
        enter(rule, olga, facts)
    assert type(first).objects.count() == 1


def test_a_part_gets_its_bin_and_a_code_from_its_name(olga: User) -> None:
    part = enter(masters.add_part, olga, PART)
    assert part.code == "hinge-screw-m14"
    assert Place.objects.get(kind="bin").part == part


def test_a_first_model_has_a_whole_bill_and_its_colours(olga: User) -> None:
    data = plover(olga)
    once = key()
    model = model_setup.add_model(key=once, data=data, at=NOON, by=olga)
    assert model_setup.add_model(key=once, data=data, at=NOON, by=olga) == model
    assert model.code == "plover"
    lines = {line.key: line for line in model.components.all()}
    assert sorted(lines) == [
        "arm_left",
        "arm_right",
        "front",
        "lens_left",
        "lens_right",
        "screw_left",
        "screw_right",
    ]
    assert (lines["front"].nominal_mg, lines["front"].spread_mg) == (11_200, 112)
    assert lines["screw_left"].spread_mg == 1  # one percent of 105 mg is 1.05 mg
    assert lines["screw_left"].in_kit
    assert lines["arm_left"].is_frame_material
    assert not lines["lens_left"].is_frame_material
    assert [way.colour.code for way in model.colourways.all()] == ["slate"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"colours": ()}, "colours"),
        ({"name": ""}, "name"),
        ({"bill": replace(BILL, spread_ppm=1_000_000)}, "spread"),
        ({"bill": replace(BILL, screw_mg=1)}, "spread"),
    ],
)
def test_a_model_that_will_not_do_leaves_nothing(
    olga: User, changes: dict[str, Any], field: str
) -> None:
    data = replace(plover(olga), **changes)
    with pytest.raises(BadInput) as refused:
        model_setup.add_model(key=key(), data=data, at=NOON, by=olga)
    assert refused.value.field in (field, "code" if field == "name" else field)
    assert not FrameModel.objects.exists()


def test_remedies_are_taken_once_and_stay_as_the_owner_changed_them(olga: User) -> None:
    screw = enter(masters.add_part, olga, PART)
    every = [one.key for one in STARTING]
    facts: dict[str, Any] = {"chosen": every, "larger_screw": screw, "at": NOON, "by": olga}
    once = key()
    assert model_setup.take_remedies(key=once, **facts) == len(STARTING)
    Remedy.objects.filter(key="start-polish-arm").update(minutes=99)
    assert model_setup.take_remedies(key=once, **facts) == len(STARTING)
    assert model_setup.on_offer() == ()
    with pytest.raises(BadInput):
        model_setup.take_remedies(key=key(), **facts)
    assert Remedy.objects.get(key="start-polish-arm").minutes == 99
    step_up = Remedy.objects.get(key="start-step-up-arm")
    assert [line.part for line in step_up.parts.all()] == [screw]
    new_arm = Remedy.objects.get(key="start-new-arm-snapped")
    assert [line.part for line in new_arm.parts.all()] == [None]


def test_what_the_workshop_answers_already_is_not_offered(shop: Shop) -> None:
    offered = {one.key for one in model_setup.on_offer()}
    assert "start-polish-front" not in offered
    assert "start-new-arm-snapped" not in offered
    assert "start-reshape-front" in offered


def test_stepping_up_needs_its_screw(olga: User) -> None:
    with pytest.raises(BadInput) as refused:
        model_setup.take_remedies(
            key=key(), chosen=["start-step-up-arm"], larger_screw=None, at=NOON, by=olga
        )
    assert refused.value.field == "larger_screw"
    assert not Remedy.objects.exists()


def test_every_starting_remedy_has_its_own_key_and_sense() -> None:
    assert len({one.key for one in STARTING}) == len(STARTING)
    for one in STARTING:
        assert 1 <= one.odds_percent <= 99, one.key
        assert one.minutes >= 1, one.key
        assert one.steps, one.key
    hot = [one for one in STARTING if one.method in ("reshape", "glue", "polish", "step_up")]
    assert all(one.caution for one in hot)


def test_limits_are_kept_with_their_history(olga: User) -> None:
    facts = {"ceiling_ppm": 900_000, "mends_max": 2, "kits_max": 1, "kits_days": 200}
    enter(model_setup.set_limits, olga, facts)
    assert (Policy.the().ceiling_ppm, Policy.the().mends_max) == (900_000, 2)
    limits = next(step for step in readiness.steps() if step.name == "limits")
    assert limits.is_done
    with pytest.raises(BadInput):
        enter(model_setup.set_limits, olga, facts | {"mends_max": -1})
    assert Policy.the().mends_max == 2
