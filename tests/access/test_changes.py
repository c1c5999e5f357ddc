"""Every change of what the owner sets is in the trail, whichever way it came, and stays there."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import Group, User
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.test import Client

from inventory.errors import AppendOnly
from inventory.models import AccessToken, Change, ClassPrice, Scale
from inventory.models.changes import HIDDEN, is_kept
from inventory.staff.rules import staff
from returns.models import Partner
from returns.partners import rules as partners
from tests import makers
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db

# What happens in the workshop is told by events, movements and rows that are never changed; what
# belongs to customers is erased in time; the digest of the logo stands in the workshop's row. All
# other tables must stand on `Kept`.
BY_EVENTS = {
    "inventory": "Balance CardLine Change Counter Event FormerRecipe GivenPassword "
    "GrindRun JournalExport Load LoadEntry Lot Month MonthBalance Movement OpenSession "
    "OutboxMessage Place Posting Reading RecipeCard RecoverySheet ReportFile RequestKey "
    "Reservation SignIn Spoiled WorkshopLogo",
    "returns": "AuditedFrame BenchCheck BenchPhoto Dispatch DraftPhoto Evidence Finding FrameHeap "
    "FurtherFrame Giver Grading HandoverNote JobStep LaterPart Parcel PartPromise PartnerSlip "
    "Person Photo Question QuestionPhoto RepairJob Request ReturnedFrame ShelfPlace SoldUnits "
    "Trouble WalkIn WeighAudit",
    "auth": "Permission",
}


def test_each_table_is_kept_or_told_by_events() -> None:
    told = {(app, name) for app, names in BY_EVENTS.items() for name in names.split()}
    for model in apps.get_models():
        label = (model._meta.app_label, model.__name__)
        if label[0] in BY_EVENTS:
            assert is_kept(model) != (label in told), f"{label}: kept, or told by events?"


def last() -> Change:
    return Change.objects.order_by("-pk")[0]


def by_save(scale: Scale) -> None:
    scale.capacity_mg = 777_000
    scale.save()


def by_save_of_a_field(scale: Scale) -> None:
    scale.capacity_mg = 777_000
    scale.save(update_fields=["capacity_mg"])


def by_update(scale: Scale) -> None:
    Scale.objects.filter(pk=scale.pk).update(capacity_mg=777_000)


def by_bulk(scale: Scale) -> None:
    scale.capacity_mg = 777_000
    Scale.objects.bulk_update([scale], ["capacity_mg"])


@pytest.mark.parametrize("way", [by_save, by_save_of_a_field, by_update, by_bulk])
def test_before_and_after_are_kept_whichever_way(shop: Shop, way: Callable[[Scale], None]) -> None:
    scale = Scale.objects.get(pk=shop.fine_scale.pk)
    was, count = scale.capacity_mg, Change.objects.count()
    way(scale)
    assert Change.objects.count() == count + 1
    assert (last().deed, last().table, last().row) == ("changed", "inventory.scale", str(scale.pk))
    assert (last().before, last().after) == ({"capacity_mg": was}, {"capacity_mg": 777_000})
    way(scale)
    assert Change.objects.count() == count + 1  # nothing changed, nothing kept


def test_what_is_made_and_removed_is_kept_whole(shop: Shop) -> None:
    facts: Any = {"polymer": shop.pp, "colour": shop.slate, "origin": "virgin"}
    ClassPrice.objects.filter(**facts).delete()
    [price] = ClassPrice.objects.bulk_create([ClassPrice(**facts, price_minor_per_kg=123)])
    assert (last().deed, last().after["price_minor_per_kg"]) == ("made", 123)
    price.delete()
    assert (last().deed, last().before["price_minor_per_kg"]) == ("removed", 123)


def test_the_admin_says_who_and_from_which_page(shop: Shop, olga: User) -> None:
    User.objects.filter(pk=olga.pk).update(is_staff=True)
    client = Client()
    client.force_login(olga)
    address = f"/admin/inventory/polymer/{shop.pp.pk}/change/"
    assert client.post(address, {"name": "Polypropylene, reclaimed"}).status_code == 302
    assert (last().by, last().after) == (olga, {"name": "Polypropylene, reclaimed"})
    assert last().through == "/admin/inventory/polymer/<path:object_id>/change/"


def test_a_page_says_its_rule_and_never_an_address_with_a_secret(olga: User) -> None:
    client = Client()
    client.force_login(olga)
    form = {"key": str(key()), "name": "ida", "first_name": "Ida", "role": "bench"}
    assert client.post("/owner/people/", form).status_code == 200
    rows = Change.objects.filter(table="auth.user").exclude(row=str(olga.pk))
    assert {row.through for row in rows} == {"/owner/people/ · staff.hire"}
    assert {row.by for row in rows} == {olga}
    assert rows.filter(after={"groups": ["bench"]}).exists()
    data = json.dumps(list(rows.values("name", "before", "after")))
    for hidden in ("ida", "Ida", "argon2", "md5"):
        assert hidden not in data, hidden


def test_a_rule_without_a_page_says_who_called_it_and_when(olga: User, bea: User) -> None:
    staff.switch_off(key=key(), number=bea.pk, at=NOON, by=olga)
    assert (last().by, last().at, last().through) == (olga, NOON, "- · staff.switch_off")
    assert (last().before, last().after) == ({"is_active": True}, {"is_active": False})


def test_roles_are_kept_from_either_side(bea: User) -> None:
    bea.groups.add(Group.objects.get(name="owner"))
    assert last().before == {"groups": ["bench"]}
    assert last().after == {"groups": ["bench", "owner"]}
    Group.objects.get(name="owner").user_set.remove(bea)
    assert last().after == {"groups": ["bench"]}


def test_secrets_are_hidden_and_their_change_is_known(olga: User, bea: User) -> None:
    bea.set_password("another word for it")
    bea.save()
    assert last().after == {"password": HIDDEN}
    partner = partners.add(key=key(), name="Lantern", town="Pier", at=NOON, by=olga)
    partners.renew_link(key=key(), partner=partner, at=NOON, by=olga)
    stored = Partner.objects.get()
    text = makers.token(olga, "read", at=NOON)
    data = json.dumps(list(Change.objects.values("before", "after")))
    for hidden in (stored.link_salt, stored.link_hash, text, AccessToken.objects.get().digest):
        assert hidden not in data


def test_signing_in_is_no_change(bea: User) -> None:
    count = Change.objects.count()
    Client().post("/enter/", {"username": "bea", "password": makers.PASSWORD})
    assert Change.objects.count() == count


def test_a_command_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["manage.py", "firstowner"])
    call_command("firstowner", "--name", "olga")
    assert last().through == "command firstowner"


@pytest.mark.both
def test_nobody_edits_the_trail(shop: Shop) -> None:
    by_update(Scale.objects.get(pk=shop.fine_scale.pk))
    row = last()
    with pytest.raises(AppendOnly):
        Change.objects.filter(pk=row.pk).update(by=None)
    with pytest.raises(AppendOnly):
        row.delete()
    for statement in (
        f"UPDATE inventory_change SET through = 'x' WHERE id = {row.pk}",
        f"DELETE FROM inventory_change WHERE id = {row.pk}",
    ):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def test_the_owner_reads_and_filters_and_nobody_else_does(
    shop: Shop, olga: User, acke: User
) -> None:
    by_update(Scale.objects.get(pk=shop.fine_scale.pk))
    client = Client()
    client.force_login(olga)
    page = client.get("/owner/changes/?table=inventory.scale").content.decode()
    assert "777000" in page
    assert "capacity_mg" in page
    for query in ("table=inventory.polymer", f"by={acke.pk}", "since=2027-01-01", "name=nothing"):
        assert "777000" not in client.get(f"/owner/changes/?{query}").content.decode(), query
    for nonsense in ("table=x", "by=x", "since=x", "page=x", "name=%00"):
        assert client.get(f"/owner/changes/?{nonsense}").status_code == 200
    client.force_login(acke)
    assert client.get("/owner/changes/").status_code == 403
