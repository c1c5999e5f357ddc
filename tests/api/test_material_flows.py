"""Recipe cards, spoiled pairs, settings and used goods through the API alone."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import Movement, RequestKey
from tests.api.callers import Caller, machine, pointers, refused
from tests.api.test_flows import done
from tests.makers import Shop, key
from tests.returns.material_makers import lot_of, two_tone

pytestmark = pytest.mark.django_db


@pytest.fixture
def press(bea: User) -> Caller:
    return machine(bea, "bench", "read")


def test_a_blend_is_planned_weighed_repeated_and_its_recipe_changed(
    shop: Shop, olga: User, bea: User, press: Caller
) -> None:
    two_tone(shop, olga)
    slate, moss = (lot_of(shop, colour, "14 kg", bea) for colour in (shop.slate, shop.moss))
    body = {"blend": "tideline", "polymer": "PP", "mass": "10 kg", "batch_code": "AV-2610"}
    refused(press.post("cards/", body), 400, "bad-input")
    card = done(press.post("cards/", body | {"wanted_for": "fronts"}), 201)
    assert [(one["lot"], one["wanted_mg"]) for one in card["lines"]] == [
        (slate.code, 7_000_000),
        (moss.code, 3_000_000),
    ]
    weighed = {
        "scale": "Box scale",
        "lots": [{"lot": slate.code, "mass": "7.5 kg"}, {"lot": moss.code, "mass": "2.5 kg"}],
        "scanned": [slate.code, moss.code],
    }
    path = f"cards/{card['code']}/"
    missed = refused(press.post(f"{path}weighings/", weighed), 400, "bad-input")
    assert pointers(missed) == {"#/reason"}
    sent, same = weighed | {"reason": "the last of the moss"}, key()
    answers = [press.post(f"{path}weighings/", sent, key=str(same)) for _ in range(2)]
    assert [done(one)["shares"][0]["reached_ppm"] for one in answers] == [750_000, 750_000]
    assert Movement.objects.filter(kind="issue").count() == 1
    assert done(press.get(path))["state"] == "weighed"
    recipe = {
        "version": 1,
        "shares": [
            {"colour": "slate", "share_ppm": 600_000},
            {"colour": "moss", "share_ppm": 400_000},
        ],
        "tolerance_ppm": 10_000,
        "is_marbled": True,
    }
    owner = machine(olga, "owner", "read", "bench")
    assert done(owner.post("blends/tideline/recipes/", recipe), 201)["recipe_version"] == 2
    again = {"like": card["code"], "batch_code": "AV-2611", "mass": "1 kg"}
    second = done(press.post("cards/", again), 201)
    assert (second["recipe_version"], second["lines"][0]["wanted_mg"]) == (1, 700_000)
    assert done(press.post(f"cards/{second['code']}/drops/"))["state"] == "dropped"
    stale = press.post(f"cards/{second['code']}/drops/")
    refused(stale, 409, "stale-state")


def test_a_batch_card_its_scrap_and_its_spoiled_pairs(shop: Shop, press: Caller) -> None:
    path = f"batches/{shop.batch.code}/"
    told = done(press.post(f"{path}settings/", {"melt_temperature_c": 205, "work_minutes": 300}))
    assert told["settings"]["work_minutes"] == 300
    assert done(press.get(path))["materials"] == []
    spoiled = {
        "step": "drilling",
        "cause": "hole-off",
        "pieces": 3,
        "scale": "Box scale",
        "heaps": [{"mass": "60 g"}],
    }
    done(press.post(f"{path}spoiled/", spoiled), 201)
    done(press.post(f"{path}scrap/", {"scale": "Box scale", "mass": "90 g"}), 201)
    wrong = press.post(f"{path}spoiled/", spoiled | {"cause": "bad-luck"})
    assert pointers(refused(wrong, 400, "bad-input")) == {"#/cause"}
    (row,) = done(press.get("spoiled/"))["results"]
    assert (row["mass_mg"], row["pieces"]) == (60_000, 3)
    yields = done(press.get("yields/"))
    assert [(one["step"], one["pieces"]) for one in yields["causes"]] == [("drilling", 3)]


def test_a_load_of_goods_is_taken_in_apart_boxed_and_closes(shop: Shop, press: Caller) -> None:
    gave = {"name": "Wanda Reed", "contact": "wanda@example.org"}
    body = {
        "kind": "plant-pots",
        "giver_class": "nursery",
        "way": "given",
        "scale": "Box scale",
        "mass": "10 kg",
    }
    answer = press.post("goods/", body | gave)
    load = done(answer, 201)
    assert "Wanda" not in answer.content.decode()
    assert not RequestKey.objects.filter(body__icontains="Wanda").exists()
    path = f"goods/{load['code']}/"
    film = {"stream": "film", "went": "waste", "scale": "Box scale", "mass": "500 g"}
    done(press.post(f"{path}streams/", film), 201)
    metal = {"stream": "metal", "went": "kept", "note": "the smith", "mass": "300 g"}
    kept = done(press.post(f"{path}streams/", film | metal), 201)
    net = {"polymer": "PP", "colour": "moss", "mass": "8 kg"}
    ended = done(press.post(f"{path}endings/", {"scale": "Box scale", "nets": [net]}), 201)
    by_act = {one["act"]: one["mass_mg"] for one in ended["entries"]}
    assert by_act == {
        "received": 10_000_000,
        "taken_out": 300_000,
        "boxed": 8_000_000,
        "lost": 1_200_000,
    }
    assert (ended["left_mg"], ended["state"]) == (0, "finished")
    entry = next(one["id"] for one in kept["entries"] if one["went"] == "kept")
    passed = {"entry": entry, "went": "sold", "note": "the smith"}
    done(press.post(f"{path}passings/", passed), 201)
    refused(press.post(f"{path}passings/", passed), 409, "stale-state")
    box = next(one["place"] for one in ended["entries"] if one["act"] == "boxed")
    picked = {"place": box, "stream": "polymer", "went": "waste", "mass": "200 g"}
    found = done(press.post(f"{path}pickings/", picked | {"scale": "Box scale"}), 201)
    last = max(one["movement"] for one in found["entries"])
    undo = {"movement": last, "reason": "It was ours after all."}
    done(press.post(f"{path}reversals/", undo), 201)
    (listed,) = done(press.get("goods/"))["results"]
    assert {one["act"] for one in listed["entries"]} == {*by_act, "passed_on"}
    assert done(press.get("goods/yields/"))["kinds"][0]["boxed"]["mean"] == pytest.approx(0.8)


def test_the_list_of_loads_asks_once_for_all_entries(
    shop: Shop, press: Caller, django_assert_max_num_queries: Any
) -> None:
    body = {
        "kind": "plant-pots",
        "giver_class": "nursery",
        "way": "given",
        "scale": "Box scale",
        "mass": "10 kg",
    }
    for _ in range(6):
        done(press.post("goods/", body), 201)
    with django_assert_max_num_queries(12):
        assert len(done(press.get("goods/"))["results"]) == 6


def test_a_stranger_reads_no_goods(client: Client, shop: Shop) -> None:
    assert client.get("/api/goods/").status_code == 401
