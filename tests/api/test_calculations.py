"""The sums through the API, for figures that the caller brings. Worked by hand; plans read."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.models import Deed, Movement
from returns.models import FrameModel, Grading
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import Shop
from tests.returns.bench_makers import filed, on_shelf

pytestmark = pytest.mark.django_db

# Class II with e = 10 mg up to 5 000 e = 50 g: 0.5 e, doubled in service, is 10 mg.
FIGURES: dict[str, Any] = {
    "name": "fine",
    "accuracy_class": "II",
    "step_mg": 10,
    "verification_mg": 10,
    "minimum_mg": 500,
    "capacity_mg": 620_000,
    "check_due": "2027-01-31",
}


@pytest.fixture
def caller(acke: User) -> Caller:
    return machine(acke, "read")


def figures(**changes: Any) -> dict[str, Any]:
    return FIGURES | changes


def reading(text: str = "24,31", **changes: Any) -> dict[str, Any]:
    return {"reading": text, "scale_figures": FIGURES, "on": "2026-11-02"} | changes


def done(answer: Any) -> dict[str, Any]:
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found


def test_weighing_without_a_check_takes_the_permissible_error(caller: Caller) -> None:
    """10/√12 = 2.887 and 10/√3 = 5.774 make 6.455; twice that is 12.91."""
    told = done(caller.post("calculations/weighings/", reading()))
    assert (told["mass_mg"], told["permissible_error_mg"], told["flags"]) == (24_310, 10, [])
    assert told["own_u_mg"] == pytest.approx(2.887, abs=5e-4)
    assert told["shared"] == [{"scale": "fine", "u_mg": pytest.approx(5.774, abs=5e-4)}]
    assert told["standard_u_mg"] == pytest.approx(6.455, abs=5e-4)
    assert (told["expanded_u_mg"], told["coverage_factor"]) == (pytest.approx(12.91, abs=5e-3), 2)


def test_calibration_tare_and_what_speaks_against_a_weighing(caller: Caller) -> None:
    """10/√6 = 4.082 with 3 mg from the check make 5.066."""
    scale = figures(calibration_u_ug=3_000, check_due="2026-11-01")
    told = done(caller.post("calculations/weighings/", reading(scale_figures=scale, tared=True)))
    assert told["standard_u_mg"] == pytest.approx(5.066, abs=5e-4)
    assert told["flags"] == ["past_check"]
    light = reading("0,49", scale_figures=figures(check_due=None))
    assert done(caller.post("calculations/weighings/", light))["flags"] == [
        "no_check_date",
        "below_minimum",
    ]


def test_scale_of_the_workshop_is_named_instead(shop: Shop, caller: Caller) -> None:
    asked = {"reading": "24,820", "scale": shop.fine_scale.name}
    told = done(caller.post("calculations/weighings/", asked))
    assert told["mass_mg"] == 24_820
    assert told["shared"][0]["scale"] == shop.fine_scale.name


def test_difference_cancels_what_the_scale_shares_and_a_sum_adds_it(caller: Caller) -> None:
    """Own parts √2 x 2.887 = 4.082; shared 5.774 x (1 - 1) = 0, or x 2 = 11.547."""
    net = [reading(), reading("4,31", times=-1)]
    told = done(caller.post("calculations/weighing-sums/", {"weighings": net}))
    assert (told["mass_mg"], told["shared"][0]["u_mg"]) == (20_000, 0)
    assert told["standard_u_mg"] == pytest.approx(4.082, abs=5e-4)
    both = [reading(), reading("4,31")]
    told = done(caller.post("calculations/weighing-sums/", {"weighings": both}))
    assert told["mass_mg"] == 28_620
    assert told["shared"][0]["u_mg"] == pytest.approx(11.547, abs=5e-4)
    assert told["flagged"] == []


def test_flagged_weighings_of_a_sum_are_named_by_their_place(caller: Caller) -> None:
    sent = {"weighings": [reading(), reading("0,49")]}
    told = done(caller.post("calculations/weighing-sums/", sent))
    assert told["flagged"] == [{"weighing": 2, "flags": ["below_minimum"]}]


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"reading": "heavy"}, "#/reading"),
        ({"reading": "24,315"}, "#/reading"),
        ({"reading": "620.01 g"}, "#/reading"),
        ({"reading": None}, "#/reading"),
        ({"scale_figures": figures(step_mg=20)}, "#/scale_figures"),
        ({"scale_figures": figures(accuracy_class="V")}, "#/scale_figures/accuracy_class"),
        ({"scale_figures": figures(calibration_u_ug=-1)}, "#/scale_figures/calibration_u_ug"),
        ({"scale_figures": figures(colour="red")}, "#/scale_figures/colour"),
        ({"scale": "no such scale"}, "#/scale"),
        ({"on": "yesterday"}, "#/on"),
    ],
)
def test_nonsense_in_a_weighing_is_pointed_at(
    caller: Caller, wrong: dict[str, Any], pointer: str
) -> None:
    answer = caller.post("calculations/weighings/", reading(**wrong))
    assert pointer in pointers(refused(answer, 400, "bad-input"))


def test_scale_is_given_once_and_one_way(shop: Shop, caller: Caller) -> None:
    both = reading("24,820", scale=shop.fine_scale.name)
    refused(caller.post("calculations/weighings/", both), 400, "bad-input")
    refused(caller.post("calculations/weighings/", {"reading": "24,82"}), 400, "bad-input")
    two = [reading(), reading(scale_figures=figures(calibration_u_ug=1))]
    answer = caller.post("calculations/weighing-sums/", {"weighings": two})
    assert pointers(refused(answer, 400, "bad-input")) == {"#/weighings"}


@pytest.mark.parametrize("count", [0, 101])
def test_sum_takes_from_one_to_a_hundred_weighings(caller: Caller, count: int) -> None:
    answer = caller.post("calculations/weighing-sums/", {"weighings": [reading()] * count})
    refused(answer, 400, "bad-input")


@pytest.mark.parametrize(
    ("asked", "plan"),
    [
        ("lot=500&aql=2.5", ("H", 50, 3, 4, False)),
        ("lot=1200&aql=1.0&level=II", ("J", 80, 2, 3, False)),
        ("lot=20&aql=0.65", ("C", 20, 0, 1, True)),
    ],
)
def test_sampling_plan_of_a_lot(caller: Caller, asked: str, plan: tuple[Any, ...]) -> None:
    """Read in the tables named in `returns.auditing.sums`."""
    told = done(caller.get(f"calculations/sampling-plan/?{asked}"))
    names = ("letter", "sample", "accept", "reject", "inspect_all")
    assert tuple(told[name] for name in names) == plan


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ("lot=1&aql=2.5", "#/lot"),
        ("lot=3201&aql=2.5", "#/lot"),
        ("lot=many&aql=2.5", "#/lot"),
        ("lot=500&aql=3", "#/aql"),
        ("lot=500", "#/aql"),
        ("lot=500&aql=2.5&level=I", "#/level"),
        ("lot=500&aql=2.5&size=3", "#/size"),
    ],
)
def test_plan_that_is_not_held_is_refused(caller: Caller, asked: str, pointer: str) -> None:
    answer = caller.get(f"calculations/sampling-plan/?{asked}")
    assert pointers(refused(answer, 400, "bad-input")) == {pointer}


def test_largest_lot_that_is_held(caller: Caller) -> None:
    assert done(caller.get("calculations/sampling-plan/?lot=3200&aql=2.5"))["letter"] == "K"


def test_mass_against_a_model_and_against_pieces_sent_along(shop: Shop, caller: Caller) -> None:
    """24 820 - 4 100 mg: an arm away. Of the pieces sent, the one of the other model fits."""
    asked = {"mass_mg": 20_720, "u_ug": 3_000, "model": "avocet"}
    told = done(caller.post("calculations/mass-fits/", asked))
    assert told["verdict"] == "missing"
    assert ["arm_left"] in told["fits"][0]["missing"]
    pieces = [
        {"key": "front", "nominal_mg": 11_000, "spread_mg": 2},
        {"key": "arm", "nominal_mg": 4_500, "spread_mg": 2, "count": 2},
    ]
    like = {"key": "arm", "nominal_mg": 5_100, "spread_mg": 2, "of": "stilt"}
    sent = {"mass_mg": 20_600, "u_ug": 3_000, "pieces": pieces, "others": [like]}
    told = done(caller.post("calculations/mass-fits/", sent))
    assert told["verdict"] == "exchanged"
    assert told["fits"][0]["exchanged"] == [{"gone": ["arm"], "come": ["arm"], "of": "stilt"}]


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"model": "avocet", "pieces": [{"key": "a", "nominal_mg": 1, "spread_mg": 0}]},
        {"model": "no-such-model"},
        {"pieces": []},
        {"pieces": [{"key": "a", "nominal_mg": 1, "spread_mg": 0}] * 2},
        {"pieces": [{"key": "a", "nominal_mg": 0, "spread_mg": 0}]},
        {"model": "avocet", "others": []},
        {"model": "avocet", "u_ug": 0},
        {"model": "avocet", "mass_mg": "NaN"},
    ],
)
def test_nonsense_mass_fits_are_refused(shop: Shop, caller: Caller, wrong: Any) -> None:
    answer = caller.post("calculations/mass-fits/", {"mass_mg": 20_720, "u_ug": 3_000} | wrong)
    refused(answer, 400, "bad-input")


def test_model_without_a_bill_says_so(shop: Shop, caller: Caller) -> None:
    FrameModel.objects.create(code="dunlin", name="Dunlin", new_frame_cost_minor=900)
    asked = {"mass_mg": 20_720, "u_ug": 3_000, "model": "dunlin"}
    answer = caller.post("calculations/mass-fits/", asked)
    assert pointers(refused(answer, 400, "bad-input")) == {"#/model"}


def test_grading_is_tried_as_it_would_be_made_and_nothing_is_kept(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    bench = machine(bea, "bench")
    before = Movement.objects.count(), Deed.objects.count()
    look = {"findings": [{"component": "arm_left", "defect": "snapped"}], "polymer": "ours"}
    tried = done(bench.post(f"frames/{frame.tag}/grading-trials/", look))
    assert (tried["computed"], tried["disposition"]) == ("repair", "mend")
    assert (Movement.objects.count(), Deed.objects.count()) == before
    assert Grading.objects.count() == 0
    made = bench.post(f"frames/{frame.tag}/gradings/", look).json()
    assert made["sums"] == tried["sums"]
    assert {one["number"] for one in made["sums"]["tippings"]} > {"minutes", "ceiling_minor"}
    wrong = look | {"polymer": "cheese"}
    refused(bench.post(f"frames/{frame.tag}/grading-trials/", wrong), 400, "bad-input")


def test_past_year_of_salvage_is_there(shop: Shop, caller: Caller) -> None:
    assert done(caller.get("salvage/past-year/")) == {"months": []}


def test_roles_open_and_close(shop: Shop, acke: User) -> None:
    for path in ("weighings/", "weighing-sums/", "mass-fits/"):
        refused(Caller().post(f"calculations/{path}"), 401, "not-signed-in")
        refused(machine(acke, "accounts").post(f"calculations/{path}"), 403, "forbidden")
    refused(Caller().get("calculations/sampling-plan/"), 401, "not-signed-in")
    frames = machine(acke, "read").post("frames/F-0000-0000/grading-trials/")
    refused(frames, 403, "forbidden")
