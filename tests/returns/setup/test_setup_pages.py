"""The checklist and its steps, by page; and what customers see before the workshop is set up."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import Scale, Workshop
from returns.models import FrameModel, Policy, Remedy
from returns.setup import queries as readiness
from returns.setup.pages.steps import PAGES
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db

FORMS = sorted(name for name, page in PAGES.items() if page.form)
WORKSHOP = {
    "name": "Reedbed Frames",
    "address": "9 Weir Road\r\n12345 Saltmarsh",
    "country": "DE",
    "email": "reedbed@example.org",
    "currency": "EUR",
    "labour_minor_per_hour": "25,50",
    "postage_in_minor": "3.80",
    "postage_out_minor": "3.80",
    "promise_days": "21",
    "kit_promise_days": "3",
    "retention_days": "180",
    "label_width_mm": "70",
    "label_height_mm": "40",
}
SCALE = {
    "name": "Fine scale",
    "accuracy": "II",
    "division_mg": "0,01 g",
    "verification_mg": "0.1 g",
    "capacity_mg": "600 g",
    "minimum_mg": "2000 mg",
}


def post(client: Client, step: str, facts: dict[str, Any]) -> Any:
    return client.post(f"/owner/setup/{step}/", {"key": str(key()), **facts})


def read(client: Client, step: str) -> str:
    return client.get(f"/owner/setup/{step}/").content.decode()


@pytest.mark.parametrize("path", ["/", "/ask/screws/", "/ask/return/"])
def test_customers_read_not_open_yet_on_an_empty_database(client: Client, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 200
    assert "Not open yet" in answer.content.decode()
    assert "Go on setting it up" not in answer.content.decode()
    if path != "/":
        assert client.post(path, {"key": str(key())}).status_code == 409


def test_the_owner_is_led_from_there_to_the_checklist(owner: Client) -> None:
    assert 'href="/owner/setup/"' in owner.get("/").content.decode()


@pytest.mark.parametrize(
    "path",
    ["/desk/", "/bench/", "/months/", "/owner/", "/owner/claims/", "/owner/lifetimes/",
     "/owner/remedies/", "/owner/repairability/", "/owner/emissions/", "/owner/sold/",
     "/owner/models/", "/owner/tokens/", "/owner/people/", "/bench/stock/", "/bench/boxes/",
     "/bench/parcel/book/", "/find/", "/method/", "/notice/"],
)  # fmt: skip
def test_no_page_breaks_on_an_empty_database(owner: Client, path: str) -> None:
    assert owner.get(path).status_code == 200


@pytest.mark.parametrize("name", [*FORMS, "stock", "sold"])
def test_each_step_shows_on_an_empty_and_on_a_furnished_workshop(
    owner: Client, name: str, request: pytest.FixtureRequest
) -> None:
    assert owner.get(f"/owner/setup/{name}/").status_code == 200
    request.getfixturevalue("shop")
    assert owner.get(f"/owner/setup/{name}/").status_code == 200


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("value", ["", "x" * 500, "\u0000", "-1", "9" * 40, "1e9", "NaN"])
def test_nonsense_is_said_and_never_fails(owner: Client, name: str, value: str) -> None:
    form = PAGES[name].form
    assert form is not None
    if name in {"opening", "imprint"} and value == "":
        pytest.skip("a workshop without holidays, closing days or an imprint is one as well")
    facts = dict.fromkeys(form.base_fields, value) | {"key": str(key())}
    answer = owner.post(f"/owner/setup/{name}/", facts)
    assert answer.status_code == 400
    assert "Not saved yet" in answer.content.decode()


def test_an_unknown_step_is_a_404(owner: Client) -> None:
    for name in ("roof", "people"):
        assert owner.get(f"/owner/setup/{name}/").status_code == 404


def test_every_step_of_the_checklist_has_its_words_and_its_page(owner: Client) -> None:
    assert set(readiness.ORDER) == set(PAGES)
    page = owner.get("/owner/setup/").content.decode()
    for name in readiness.ORDER:
        assert f'href="{PAGES[name].address(name)}"' in page


def test_the_workshop_is_kept_in_cents_and_the_form_shows_it_again(owner: Client) -> None:
    facts = WORKSHOP | {"key": str(key())}
    for _ in range(2):
        assert owner.post("/owner/setup/workshop/", facts).status_code == 302
    assert Workshop.the().labour_minor_per_hour == 2550
    assert 'value="25.50"' in owner.get("/owner/setup/workshop/").content.decode()


def test_no_label_size_is_presumed_and_none_is_needed(owner: Client) -> None:
    for name in ("label_width_mm", "label_height_mm"):
        field = re.search(rf'<input[^>]*name="{name}"[^>]*>', read(owner, "workshop"))
        assert field is not None
        assert "value=" not in field[0]
    empty = WORKSHOP | {"label_width_mm": "", "label_height_mm": ""}
    assert post(owner, "workshop", empty).status_code == 302
    assert Workshop.the().label_size_mm is None
    assert post(owner, "workshop", WORKSHOP).status_code == 302
    assert Workshop.the().label_size_mm == (70, 40)


@pytest.mark.parametrize("missing", ["label_width_mm", "label_height_mm"])
def test_half_a_label_size_is_refused_beside_the_missing_half(owner: Client, missing: str) -> None:
    refused = post(owner, "workshop", WORKSHOP | {missing: ""})
    assert refused.status_code == 400
    assert refused.context["form"].errors.keys() == {missing}
    assert Workshop.the().address == ""


def test_the_labels_page_asks_for_the_size_until_it_is_typed(
    client: Client, shop: Shop, olga: User, bea: User
) -> None:
    asked, led = "The size of your labels is not known yet", 'href="/owner/setup/workshop/"'
    client.force_login(olga)
    assert asked not in client.get("/bench/labels/").content.decode()
    Workshop.objects.update(label_width_mm=None, label_height_mm=None)
    for user, is_led in ((olga, True), (bea, False)):
        client.force_login(user)
        page = client.get("/bench/labels/").content.decode()
        assert (asked in page, led in page) == (True, is_led)


def test_a_name_that_nobody_entered_is_asked_for(owner: Client) -> None:
    empty = owner.get("/owner/setup/workshop/").content.decode()
    assert 'value="workshop@example.org"' not in empty
    assert 'value="My workshop"' not in empty
    post(owner, "workshop", WORKSHOP)
    assert 'value="reedbed@example.org"' in owner.get("/owner/setup/workshop/").content.decode()


def test_a_scale_is_kept_in_milligrams(owner: Client) -> None:
    assert post(owner, "scale", SCALE).status_code == 302
    scale = Scale.objects.get()
    assert (scale.division_mg, scale.capacity_mg, scale.minimum_mg) == (10, 600_000, 2_000)
    refused = post(owner, "scale", SCALE | {"name": "Other", "division_mg": "1 g"})
    assert refused.status_code == 400
    assert "not larger than the verification interval" in refused.content.decode()


def test_a_model_takes_its_screws_mass_from_the_part(owner: Client, shop: Shop) -> None:
    facts = {
        "name": "Plover",
        "rim": "round",
        "new_frame_cost": "14,80",
        "expected_life_months": "24",
        "polymer": shop.pp.pk,
        "colours": [shop.slate.code],
        "front": "11,2 g",
        "arm": "4.15",
        "spread": "1",
        "screw_part": shop.screw.pk,
    }
    assert post(owner, "model", facts).status_code == 302
    plover = FrameModel.objects.get(code="plover")
    assert plover.components.get(key="screw_left").nominal_mg == shop.screw.nominal_mg
    assert not plover.components.filter(kind="lens").exists()
    assert plover.rim == "round"
    again = post(owner, "model", facts)
    assert again.status_code == 400


def test_one_click_takes_the_remedies_that_need_no_part(owner: Client) -> None:
    page = owner.get("/owner/setup/remedies/")
    assert "typed, not measured" in page.content.decode()
    ticked = page.context["form"]["chosen"].initial
    assert "start-step-up-arm" not in ticked
    assert post(owner, "remedies", {"chosen": ticked}).status_code == 302
    assert Remedy.objects.count() == len(ticked)


def test_limits_are_shown_as_percent_and_kept_as_parts(owner: Client) -> None:
    assert 'value="120.0"' in owner.get("/owner/setup/limits/").content.decode()
    facts = {
        "ceiling_ppm": "95,5",
        "mends_max": "3",
        "wall_ratio_ppm": "50",
        "hole_offset_um": "0.1",
        "kits_max": "2",
        "kits_days": "365",
        "withdraw_minutes": "30",
        "new_frame_batches": "8",
        "new_frame_overhead_minor": "1.50",
    }
    assert post(owner, "limits", facts).status_code == 302
    policy = Policy.the()
    assert (policy.ceiling_ppm, policy.hole_offset_um) == (955_000, 100)
    assert (policy.new_frame_batches, policy.new_frame_overhead_minor) == (8, 150)


def test_the_owners_desk_says_how_much_is_left(owner: Client) -> None:
    assert "Not open yet: 6 steps of the set-up are left." in owner.get("/desk/").content.decode()
    post(owner, "scale", SCALE)
    assert "Not open yet: 5 steps" in owner.get("/desk/").content.decode()


def test_the_desk_of_an_open_workshop_says_nothing_of_it(owner: Client, shop: Shop) -> None:
    assert "Not open yet" not in owner.get("/desk/").content.decode()


def test_when_all_is_there_the_first_return_is_offered(owner: Client, shop: Shop) -> None:
    page = owner.get("/owner/setup/").content.decode()
    assert "You can take the first return" in page
    assert 'href="/ask/return/"' in page
    Workshop.objects.update(address="")
    page = owner.get("/owner/setup/").content.decode()
    assert "You can take the first return" not in page
    assert "5 of 6 needed steps are done" in page


def test_a_model_asks_for_polymer_and_colour_before_it_shows_its_form(owner: Client) -> None:
    empty = owner.get("/owner/setup/model/").content.decode()
    assert "Enter one of each first" in empty
    assert "Add the model" not in empty


def test_a_model_shows_its_form_once_polymer_and_colour_are_there(
    owner: Client, shop: Shop
) -> None:
    ready = owner.get("/owner/setup/model/").content.decode()
    assert "Enter one of each first" not in ready
    assert "Add the model" in ready


def test_costs_are_said_to_be_missing_until_they_are_entered(owner: Client, shop: Shop) -> None:
    assert not next(step for step in readiness.steps() if step.name == "terms").is_done
    assert "Ask us before you post anything" in owner.get("/").content.decode()
    assert 'value="None"' not in read(owner, "terms")
    facts = {
        "mending_minor": "8.50",
        "kit_minor": "0",
        "postage_in_paid_by": "customer",
        "postage_back_paid_by": "workshop",
        "cost_note": "",
        "letter_wait_minutes": "10",
        "remind_days": "14",
        "rest_days": "14",
        "question_remind_days": "5",
        "question_owner_days": "14",
    }
    refused = post(owner, "terms", facts)
    assert "a request rests some days later" in refused.content.decode()
    assert post(owner, "terms", facts | {"rest_days": "15"}).status_code == 302
    assert next(step for step in readiness.steps() if step.name == "terms").is_done
    page = owner.get("/").content.decode()
    assert "Ask us before you post anything" not in page
    assert "A mended frame costs you 8.50 EUR." in page
