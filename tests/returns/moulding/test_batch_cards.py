"""Batch cards: settings as they were noted, the best batches alike, and what a new frame costs."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput
from inventory.models import Event, Workshop
from returns.grading.queries import facts as gradingfacts
from returns.grading.queries import new_frame
from returns.models import Policy, ProductionBatch
from returns.moulding import rules
from returns.spoiling import queries
from returns.spoiling import rules as spoiling
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db


def noted(batch: ProductionBatch, by: User, **settings: Any) -> ProductionBatch:
    data = rules.Settings(**settings)
    return rules.note_settings(key=key(), batch=batch, settings=data, at=NOON, by=by)


def batch(shop: Shop, code: str, **changes: Any) -> ProductionBatch:
    facts: dict[str, Any] = {
        "colourway": shop.avocet_slate,
        "made_on": NOON.date(),
        "pieces": 100,
        "heat": [[2, 1_000_000]],
        "issued_mg": 2_500_000,
    }
    return ProductionBatch.objects.create(code=code, **(facts | changes))


def spoil(shop: Shop, made: ProductionBatch, by: User, pieces: int, into: str = "waste") -> None:
    what = spoiling.What(step="drilling", cause="hole-off", pieces=pieces, into=into)
    heaps = [spoiling.ScrapHeap(mass="100 g")]
    scale = shop.box_scale
    spoiling.book(key=key(), batch=made, what=what, scale=scale, heaps=heaps, at=NOON, by=by)


def test_settings_are_kept_and_written_over_and_the_history_has_both(shop: Shop, bea: User) -> None:
    noted(shop.batch, bea, melt_temperature_c=205, work_minutes=240)
    again = noted(shop.batch, bea, melt_temperature_c=210, settings_note=" slower ")
    assert (again.melt_temperature_c, again.work_minutes, again.settings_note) == (
        *(210, None),
        "slower",
    )
    told = Event.objects.filter(name="batches.note_settings").order_by("pk")
    assert [event.detail["melt_temperature_c"] for event in told] == [205, 210]


@pytest.mark.parametrize(("name", "most"), sorted(rules.SETTINGS_MAX.items()))
def test_a_setting_that_no_press_has_is_refused(
    shop: Shop, bea: User, name: str, most: int
) -> None:
    noted(shop.batch, bea, **{name: most})
    for wrong in (-1, most + 1):
        with pytest.raises(BadInput) as refused:
            noted(shop.batch, bea, **{name: wrong})
        assert refused.value.field == name


def test_the_best_batches_are_of_one_material_and_as_many_passes_by_their_lower_limit(
    shop: Shop, bea: User
) -> None:
    """9 of 10 and 90 of 100: Wilson's lower limits are 0.596 and 0.826 (checked by scipy's own
    `binomtest`), so the larger batch comes first."""
    small, large = batch(shop, "S-1", pieces=10), batch(shop, "L-1")
    hot, moss = batch(shop, "H-1", heat=[[4, 1_000_000]]), batch(shop, "M-1")
    ProductionBatch.objects.filter(pk=moss.pk).update(colourway=shop.avocet_moss)
    silent = batch(shop, "N-1")
    for made, lost in ((small, 1), (large, 10), (hot, 1), (moss, 1), (silent, 1)):
        spoil(shop, made, bea, lost)
    for made in (small, large, hot, moss):
        noted(made, bea, mould_temperature_c=60)
    found = queries.best_alike(batch(shop, "NEW"))
    assert [one.made.batch.code for one in found] == ["L-1", "S-1"]
    assert [round(one.interval.low, 3) for one in found] == [0.826, 0.596]


def test_a_press_hand_notes_settings_on_the_card_and_sees_the_best(
    client: Client, shop: Shop, bea: User
) -> None:
    spoil(shop, shop.batch, bea, 6)
    client.force_login(bea)
    path = reverse("batch", args=[shop.batch.code])
    sent = {"key": key(), "mould_temperature_c": 62, "melt_temperature_c": 210, "force_n": ""}
    assert client.post(path, sent).status_code == 302
    page = client.get(path).content.decode()
    assert "95.0 %" in page
    assert ">62<" in page
    assert client.get(reverse("batches")).status_code == 200
    refused = client.post(path, sent | {"key": key(), "melt_temperature_c": 4000})
    assert refused.status_code == 422


def counted(shop: Shop, by: User, many: int) -> None:
    """So many batches of 100 pairs: 2.5 kg of flake, 200 minutes, 10 pairs lost, 100 g boxed."""
    for number in range(many):
        made = batch(shop, f"C-{number}")
        noted(made, by, work_minutes=200)
        spoil(shop, made, by, 10, into="box")


def test_a_new_frame_costs_what_enough_batches_took_and_before_that_what_was_typed(
    shop: Shop, bea: User
) -> None:
    """By hand, at 2.00 a kilogram and 24.00 an hour: 2.4 kg and 200 minutes over 90 good pairs
    are 5.33... + 88.88... = 94.2..., rounded up to 95 cents, with 30 cents of energy 125."""
    Workshop.the()
    Workshop.objects.update(labour_minor_per_hour=2_400)
    Policy.the()
    Policy.objects.update(new_frame_overhead_minor=30)
    look, policy = shop.avocet_slate, Policy.the()
    parts_minor = sum(
        made.piece.part.price_minor
        for made in gradingfacts.catalogue.bill_of(look).values()
        if made.material is None and made.piece.part
    )

    def cost() -> new_frame.Cost:
        return new_frame.of(look, material_minor_per_kg=200, policy=Policy.the())

    counted(shop, bea, policy.new_frame_batches - 1)
    assert (cost().minor, cost().measured) == (look.model.new_frame_cost_minor, None)
    assert cost().batches == policy.new_frame_batches - 1
    made = batch(shop, "C-9")
    noted(made, bea, work_minutes=200)
    spoil(shop, made, bea, 10, into="box")
    found = cost()
    assert found.measured is not None
    assert found.minor == 125 + parts_minor
    assert (found.measured.material_minor, found.measured.labour_minor) == (5, 90)
    assert found.measured.low_minor == found.measured.high_minor == found.minor
    Policy.objects.update(new_frame_batches=0)
    assert (cost().minor, cost().measured) == (look.model.new_frame_cost_minor, None)


def test_the_owner_reads_on_the_page_of_limits_which_cost_counts(
    client: Client, shop: Shop, bea: User, olga: User
) -> None:
    client.force_login(olga)
    page = reverse("setup-step", args=["limits"])
    assert "what was typed: 0 of 5 batches tell their work" in client.get(page).content.decode()
    counted(shop, bea, 5)
    assert "what 5 batches took" in client.get(page).content.decode()
