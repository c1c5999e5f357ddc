"""The admin: an owner without superuser rights edits masters and never the books."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib import admin
from django.contrib.auth.models import Group, Permission, User
from django.test import Client

from inventory.models import Colour, Event, Lot, Month, Movement, Posting, Reading, Scale, Workshop
from returns.models import (
    Colourway,
    Component,
    FrameModel,
    Partner,
    PartnerSlip,
    Policy,
    ProductionBatch,
    Remedy,
    SoldUnits,
    WalkIn,
)
from returns.setup.rules import ownerrights
from tests import makers
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = [pytest.mark.django_db, pytest.mark.edge]

BOOKS = (
    Movement,
    Posting,
    Reading,
    Month,
    Event,
    Lot,
    SoldUnits,
    Partner,
    PartnerSlip,
    WalkIn,
)


@pytest.fixture
def owner(client: Client, olga: User) -> User:
    """Olga as a person of the staff, signed in."""
    olga.is_staff = True
    olga.save()
    client.force_login(olga)
    return olga


def address(model: Any, *more: object) -> str:
    meta = model._meta
    return "/".join(["/admin", meta.app_label, meta.model_name, *map(str, more), ""])


def refused(client: Client, model: Any, *more: object, **facts: object) -> bool:
    return client.post(address(model, *more), facts).status_code == 403


def errors(answer: Any) -> str:
    context = answer.context
    found = [str(context["errors"])] if context and context.get("errors") else []
    return " ".join(found)


def test_the_migration_grants_what_the_rule_names() -> None:
    held = {
        (app, code)
        for app, code in Group.objects.get(name="owner").permissions.values_list(
            "content_type__app_label", "codename"
        )
    }
    assert held == set(ownerrights.rights())


def test_no_right_of_the_owner_changes_a_book() -> None:
    tables = {model._meta.model_name for model in BOOKS}
    for _app, codename in ownerrights.rights():
        action, table = codename.split("_", 1)
        assert action == "view" or table not in tables


def test_without_staff_mark_the_admin_stays_shut(client: Client, olga: User) -> None:
    client.force_login(olga)
    assert client.get("/admin/").status_code == 302


@pytest.mark.parametrize("who", ["bea", "acke"])
def test_other_roles_may_edit_nothing_even_as_staff(
    client: Client, request: pytest.FixtureRequest, who: str
) -> None:
    person = request.getfixturevalue(who)
    person.is_staff = True
    person.save()
    client.force_login(person)
    assert client.get(address(FrameModel)).status_code == 403
    assert client.get(address(Movement)).status_code == 403


@pytest.mark.parametrize(
    "model", [Colour, Scale, FrameModel, Colourway, ProductionBatch, Remedy, *BOOKS]
)
def test_the_owner_sees_every_list(client: Client, owner: User, shop: Shop, model: Any) -> None:
    made.boxed(shop)
    assert client.get(address(model)).status_code == 200


@pytest.mark.parametrize("model", BOOKS)
@pytest.mark.parametrize("is_superuser", [False, True])
def test_nobody_adds_to_a_book_here(
    client: Client, owner: User, model: Any, is_superuser: bool
) -> None:
    owner.is_superuser = is_superuser
    owner.save()
    assert client.get(address(model, "add")).status_code == 403
    assert refused(client, model, "add")


@pytest.mark.parametrize("is_superuser", [False, True])
def test_nobody_changes_or_deletes_a_movement_here(
    client: Client, owner: User, shop: Shop, is_superuser: bool
) -> None:
    owner.is_superuser = is_superuser
    owner.save()
    frame = made.boxed(shop)
    movement = Movement.objects.get(subject=frame.tag, kind="strip_down")
    page = client.get(address(Movement, movement.pk, "change"))
    assert page.status_code == 200
    assert 'name="_save"' not in page.content.decode()
    assert refused(client, Movement, movement.pk, "change", reason="mine now")
    assert refused(client, Movement, movement.pk, "delete", post="yes")
    movement.refresh_from_db()
    assert movement.reason == ""


@pytest.mark.parametrize("model", [Workshop, Policy])
def test_the_one_row_opens_at_once_and_stays_one(client: Client, owner: User, model: Any) -> None:
    assert client.get(address(model))["Location"] == address(model, 1, "change")
    assert client.get(address(model, 1, "change")).status_code == 200
    assert client.get(address(model, "add")).status_code == 403
    assert refused(client, model, 1, "delete", post="yes")
    assert model.objects.count() == 1


def workshop_facts(**changes: object) -> dict[str, object]:
    row = Workshop.the()
    names = [field.name for field in Workshop._meta.fields if field.name not in ("id", "demo")]
    shown = {name: getattr(row, name) for name in names}
    return {name: "" if value is None else value for name, value in shown.items()} | changes


def test_the_owner_edits_the_workshop(client: Client, owner: User) -> None:
    facts = workshop_facts(name="Saltmarsh Frames")
    assert client.post(address(Workshop, 1, "change"), facts).status_code == 302
    assert Workshop.the().name == "Saltmarsh Frames"


@pytest.mark.parametrize(
    "changes",
    [
        {"country": "de"},
        {"currency": "EURO"},
        {"retention_days": 29},
        {"grind_loss_limit_ppm": 1_000_001},
        {"promise_days": -1},
        {"email": "not an address"},
        {"label_width_mm": 70},
        {"label_height_mm": 40},
    ],
)
def test_a_workshop_that_cannot_be_is_refused(
    client: Client, owner: User, changes: dict[str, object]
) -> None:
    answer = client.post(address(Workshop, 1, "change"), workshop_facts(**changes))
    assert answer.status_code == 200
    assert answer.context["errors"]


def bill(count: int, **lines: object) -> dict[str, object]:
    facts: dict[str, object] = {
        "components-TOTAL_FORMS": count,
        "components-INITIAL_FORMS": 0,
        "components-MIN_NUM_FORMS": 0,
        "components-MAX_NUM_FORMS": 1000,
    }
    return facts | {name.replace("__", "-"): value for name, value in lines.items()}


MODEL = {
    "code": "knot",
    "name": "Knot",
    "rim": "round",
    "active": "on",
    "new_frame_cost_minor": 1300,
    "expected_life_months": 24,
    "repair_scores-TOTAL_FORMS": 0,
    "repair_scores-INITIAL_FORMS": 0,
}
FRONT: dict[str, object] = {
    "components__0__key": "front",
    "components__0__kind": "front",
    "components__0__nominal_mg": 9_000,
    "components__0__spread_mg": 90,
    "components__0__is_frame_material": "on",
}


def test_a_model_comes_with_its_bill(client: Client, owner: User) -> None:
    answer = client.post(address(FrameModel, "add"), MODEL | bill(1, **FRONT))
    assert answer.status_code == 302
    component = Component.objects.get(model__code="knot")
    assert (component.key, component.nominal_mg) == ("front", 9_000)


@pytest.mark.parametrize(
    "changes",
    [
        {"components__0__nominal_mg": 0},
        {"components__0__nominal_mg": -1},
        {"components__0__spread_mg": 9_000},
        {"components__0__is_frame_material": ""},
        {"components__0__in_kit": "on"},
        {"components__0__key": "wing"},
    ],
)
def test_a_bill_that_cannot_be_is_refused(
    client: Client, owner: User, changes: dict[str, object]
) -> None:
    answer = client.post(address(FrameModel, "add"), MODEL | bill(1, **(FRONT | changes)))
    assert answer.status_code == 200
    assert answer.context["errors"]
    assert not FrameModel.objects.filter(code="knot").exists()


@pytest.mark.parametrize(
    "heat",
    ["[[2, 999999]]", "[[2, 1000000], [1, 0]]", "[[41, 1000000]]", "7", "[]", "{}", "nonsense"],
)
def test_heat_passes_that_are_none_are_refused(
    client: Client, owner: User, shop: Shop, heat: str
) -> None:
    facts = {
        "code": "AV-2699",
        "colourway": shop.avocet_slate.pk,
        "made_on": "2026-09-01",
        "pieces": 10,
    }
    answer = client.post(address(ProductionBatch, "add"), {**facts, "heat": heat})
    assert answer.status_code == 200
    assert "heat" in answer.context["adminform"].form.errors
    good = client.post(address(ProductionBatch, "add"), {**facts, "heat": "[[2, 1000000]]"})
    assert good.status_code == 302


@pytest.mark.parametrize("swatch", ["red", "#12345", "#12345g", "#1234567", "#123456\n"])
def test_a_swatch_that_is_no_colour_is_refused(client: Client, owner: User, swatch: str) -> None:
    answer = client.post(address(Colour, "add"), {"code": "teal", "name": "Teal", "swatch": swatch})
    # A trailing line break is stripped by the field; what is kept is a colour.
    if answer.status_code == 302:
        assert Colour.objects.get(code="teal").swatch == "#123456"
    else:
        assert "swatch" in answer.context["adminform"].form.errors


@pytest.mark.parametrize(("division", "is_good"), [(99, True), (100, True), (101, False)])
def test_the_division_is_not_above_the_verification_interval(
    client: Client, owner: User, division: int, is_good: bool
) -> None:
    facts = {
        "name": "New scale",
        "accuracy": "II",
        "division_mg": division,
        "verification_mg": 100,
        "capacity_mg": 600_000,
        "minimum_mg": 500,
        "in_use": "on",
    }
    answer = client.post(address(Scale, "add"), facts)
    assert (answer.status_code == 302) is is_good


def test_what_is_in_use_cannot_be_deleted(client: Client, owner: User, shop: Shop) -> None:
    made.frame(shop)
    answer = client.post(address(ProductionBatch, shop.batch.pk, "delete"), {"post": "yes"})
    assert answer.status_code in (200, 403)
    assert ProductionBatch.objects.filter(pk=shop.batch.pk).exists()


def staff_facts(person: User, **changes: object) -> dict[str, object]:
    facts: dict[str, object] = {
        "username": person.username,
        "is_active": "on",
        "groups": [group.pk for group in person.groups.all()],
        "date_joined_0": "2026-01-01",
        "date_joined_1": "10:00",
    }
    return facts | changes


def test_the_owner_gives_roles_and_switches_off(client: Client, owner: User, bea: User) -> None:
    accountant = Group.objects.get(name="accountant").pk
    facts = staff_facts(bea, groups=[accountant], is_active="")
    assert client.post(address(User, bea.pk, "change"), facts).status_code == 302
    bea.refresh_from_db()
    assert not bea.is_active
    assert [group.name for group in bea.groups.all()] == ["accountant"]


def test_the_owner_cannot_raise_anybody_to_superuser(client: Client, owner: User) -> None:
    right = Permission.objects.get(codename="delete_user")
    facts = staff_facts(owner, is_staff="on", is_superuser="on", user_permissions=[right.pk])
    assert client.post(address(User, owner.pk, "change"), facts).status_code == 302
    owner.refresh_from_db()
    assert not owner.is_superuser
    assert not owner.user_permissions.exists()


def test_the_owner_cannot_touch_a_superuser(client: Client, owner: User) -> None:
    root = User.objects.create_superuser("root", "root@example.org", makers.PASSWORD)
    assert refused(client, User, root.pk, "change", **staff_facts(root))
    assert client.get(f"/admin/auth/user/{root.pk}/password/").status_code == 403


def test_nobody_deletes_a_person_here(client: Client, owner: User, bea: User) -> None:
    owner.is_superuser = True
    owner.save()
    assert refused(client, User, bea.pk, "delete", post="yes")


def test_a_superuser_may_be_made_by_a_superuser(client: Client, owner: User, bea: User) -> None:
    owner.is_superuser = True
    owner.save()
    facts = staff_facts(bea, is_staff="on", is_superuser="on")
    assert client.post(address(User, bea.pk, "change"), facts).status_code == 302
    bea.refresh_from_db()
    assert bea.is_superuser


def test_every_table_of_the_books_is_registered_read_only(rf: Any, owner: User) -> None:
    request = rf.get("/")
    owner.is_superuser = True
    request.user = owner
    for model in BOOKS:
        shown = admin.site._registry[model]
        assert not shown.has_add_permission(request)
        assert not shown.has_change_permission(request)
        assert not shown.has_delete_permission(request)
        assert shown.has_view_permission(request)


def test_a_long_list_of_movements_asks_a_fixed_number_of_questions(
    client: Client, owner: User, shop: Shop, django_assert_max_num_queries: Any
) -> None:
    for _ in range(5):
        made.boxed(shop)
    # Session, user, permissions, filters (months), counts, the page itself.
    with django_assert_max_num_queries(14):
        client.get(address(Movement))


def test_no_heading_in_capitals_turns_micro_into_milli(
    client: Client, owner: User, shop: Shop
) -> None:
    """The admin's headings are upper-cased, and an upper-case \u00b5 reads as M: \u00b5m as mm."""
    made.frame(shop)
    pages = [address(FrameModel, shop.avocet.pk, "change")]
    pages += [address(model) for model in (Colour, Scale, ProductionBatch, Remedy, *BOOKS)]
    for page in pages:
        heads = re.findall(r"<th.*?</th>", client.get(page).content.decode(), re.DOTALL)
        assert not [head for head in heads if re.search("[\u00b5\u03bc]", head)]


@pytest.mark.parametrize("name", ["slate", "pp", "screw", "avocet", "batch"])
def test_a_code_that_the_books_name_is_given_once(
    client: Client, owner: User, shop: Shop, name: str
) -> None:
    """Closed reports name classes and parts by their codes: a new one would rewrite them."""
    row = getattr(shop, name)
    page = client.get(address(type(row), row.pk, "change"))
    assert "code" not in page.context["adminform"].form.fields
    assert "code" in client.get(address(type(row), "add")).context["adminform"].form.fields


def test_a_batch_that_flake_was_issued_for_is_not_deleted(
    client: Client, owner: User, shop: Shop
) -> None:
    ProductionBatch.objects.update(issued_mg=1_000)
    assert refused(client, ProductionBatch, shop.batch.pk, "delete", post="yes")
    chosen = {"action": "delete_selected", "_selected_action": shop.batch.pk, "post": "yes"}
    client.post(address(ProductionBatch), chosen)
    assert ProductionBatch.objects.count() == 1
    ProductionBatch.objects.update(issued_mg=0)
    assert not refused(client, ProductionBatch, shop.batch.pk, "delete", post="yes")
    assert not ProductionBatch.objects.exists()
