"""A load of goods on its pages: in at the door, over the table, and what its giver may read."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput, Conflict
from inventory.goods import queries
from inventory.goods.rules import Goods
from inventory.material.rules.material import Weighing
from inventory.models import Event, Load
from returns.filing.rules import photos
from returns.goods import queries as told
from returns.goods import rules
from returns.models import Evidence, Giver
from returns.tasks import prune
from tests.makers import NOON, Shop, key
from tests.returns import goods_makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


@pytest.fixture
def owner_desk(olga: User) -> Client:
    client = Client()
    client.force_login(olga)
    return client


def send(client: Client, address: str, **facts: object) -> object:
    return client.post(address, {"key": str(key()), **facts})


def test_a_load_goes_from_the_door_over_the_table_into_its_box(desk: Client, shop: Shop) -> None:
    scale = shop.box_scale.pk
    facts = {"kind": "plant-pots", "way": "given", "giver_class": "nursery", "name": "Tern Nursery"}
    send(desk, reverse("goods-receive"), scale=scale, mass="10 kg", **facts)
    load = Load.objects.get()
    page = reverse("goods-load", args=[load.code])
    stream = {"stream": "metal", "went": "waste", "scale": scale, "mass": "400 g"}
    send(desk, f"{page}take-out/", **stream)
    net = {"polymer_1": shop.pp.pk, "colour_1": shop.slate.pk, "mass_1": "9 kg"}
    answer = desk.post(f"{page}finish/", {"key": key(), "scale": scale, "passes": 1, **net})
    assert answer.status_code == 302
    one = queries.standing(Load.objects.get())
    assert (one.taken_out_mg, one.boxed_mg, one.lost_mg) == (400_000, 9_000_000, 600_000)
    shown = desk.get(page).content.decode()
    assert "Tern Nursery" in shown
    assert "waits in its box to be ground" in shown
    assert load.code in desk.get(reverse("goods")).content.decode()
    assert desk.get(reverse("go-code", args=[load.code])).headers["Location"] == page


@pytest.mark.parametrize(
    ("action", "facts", "field"),
    [
        ("take-out", {"stream": "film", "went": "kept", "mass": "1 g"}, "note"),
        ("take-out", {"stream": "film", "went": "waste", "mass": "99 kg"}, "mass"),
        ("finish", {"passes": 1, "mass_1": "1 kg"}, "polymer_1"),
        ("undo", {"number": 1, "reason": ""}, "reason"),
    ],
)
def test_what_will_not_do_is_named_beside_its_field(
    desk: Client, shop: Shop, bea: User, action: str, facts: dict[str, object], field: str
) -> None:
    load = goods_makers.taken_in(shop, bea)
    address = reverse("goods-act", args=[load.code, action])
    answer = desk.post(address, {"key": key(), "scale": shop.box_scale.pk, **facts})
    assert answer.status_code == 422
    assert field in answer.context["form"].errors


def test_the_givers_link_tells_the_grams_and_nobodys_name(
    desk: Client, shop: Shop, bea: User
) -> None:
    client = Client()
    load = goods_makers.sorted_load(shop, bea)
    secret = rules.link_secret(load)
    assert secret in desk.get(reverse("goods-receipt", args=[load.code])).content.decode()
    answer = client.get(reverse("goods-told", args=[secret]))
    text = answer.content.decode()
    assert (answer["Cache-Control"], answer["Referrer-Policy"]) == ("no-store", "no-referrer")
    assert "8000" in text.replace(" ", "").replace("\u202f", "").replace(",", "")
    for private in ("Tern Nursery", "tern@example.org", "Sluice Crates", "bea"):
        assert private not in text
    for wrong in (secret[:-1], "x" * 200, load.code):
        assert client.get(reverse("goods-told", args=[wrong])).status_code == 404


def test_evidence_is_drawn_anew_kept_private_and_can_be_deleted(
    desk: Client, owner_desk: Client, shop: Shop, bea: User
) -> None:
    client = Client()
    load = goods_makers.taken_in(shop, bea)
    address = reverse("goods-evidence", args=[load.code])
    picture = goods_makers.image()
    picture.name = "../../tern.png"
    sent = {"key": key(), "kind": "declaration", "note": "signed", "picture": picture}
    assert desk.post(address, sent).status_code == 302
    kept = Evidence.objects.get()
    assert "tern" not in kept.file_name
    shown = reverse("goods-picture", args=[kept.file_name])
    assert desk.get(shown).content.startswith(b"\xff\xd8")
    assert client.get(shown).status_code == 302
    assert photos.remove_orphans(older_than=NOON + timedelta(days=9999)) == 0
    drop = reverse("goods-drop", args=[kept.file_name])
    assert desk.get(drop).status_code == 403
    assert owner_desk.post(drop, {"key": key()}).status_code == 302
    assert not Evidence.objects.exists()


def test_what_is_no_picture_is_refused_beside_its_field(
    desk: Client, shop: Shop, bea: User
) -> None:
    load = goods_makers.taken_in(shop, bea)
    file = goods_makers.io.BytesIO(b"GIF89a no picture")
    file.name = "paper.pdf"
    sent = {"key": key(), "kind": "receipt", "picture": file}
    answer = desk.post(reverse("goods-evidence", args=[load.code]), sent)
    assert (answer.status_code, "picture" in answer.context["form"].errors) == (422, True)


def test_twelve_pictures_are_enough(shop: Shop, bea: User) -> None:
    load = goods_makers.taken_in(shop, bea)
    for _ in range(rules.EVIDENCE_MAX):
        goods_makers.evidence(load, bea)
    with pytest.raises(BadInput, match="At most 12"):
        goods_makers.evidence(load, bea)


def test_a_giver_is_forgotten_by_hand_or_when_the_time_is_up(shop: Shop, bea: User) -> None:
    first, second = goods_makers.sorted_load(shop, bea), goods_makers.sorted_load(shop, bea)
    rules.forget_giver(key=key(), load=first, at=NOON, by=bea)
    assert Giver.objects.get(load=first).name == ""
    with pytest.raises(Conflict):
        rules.forget_giver(key=key(), load=first, at=NOON, by=bea)
    days = shop.workshop.retention_days
    assert prune(NOON + timedelta(days=days))["givers"] == 0
    assert prune(NOON + timedelta(days=days, seconds=1))["givers"] == 1
    assert Giver.objects.get(load=second).contact == ""
    # Its link goes on telling what became of it.
    assert told.by_secret(rules.link_secret(second)) == second


def test_no_event_holds_a_giver_and_a_repeat_is_answered(shop: Shop, bea: User) -> None:
    facts = {
        "goods": Goods(kind="plant-pots", giver_class="nursery", way="given"),
        "weighing": Weighing(scale=shop.box_scale, mass="5 kg"),
        "who": goods_makers.NAMED,
        "at": NOON,
        "by": bea,
    }
    once = key()
    load = rules.take_in(key=once, **facts)
    assert rules.take_in(key=once, **facts) == load
    assert Load.objects.count() == 1
    for event in Event.objects.all():
        assert "Tern" not in f"{event.detail}{event.subject}"
    with pytest.raises(BadInput) as refused:
        rules.take_in(key=key(), **(facts | {"who": rules.Who(name="n" * 81)}))
    assert refused.value.field == "name"


PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n"


def test_a_pdf_is_kept_as_it_came_and_handed_out_to_be_saved(
    desk: Client, shop: Shop, bea: User, settings: Any
) -> None:
    load = goods_makers.taken_in(shop, bea)
    address = reverse("goods-evidence", args=[load.code])
    file = goods_makers.io.BytesIO(PDF)
    # Its name says nothing: what it is decides.
    file.name = "declaration.jpg"
    sent = {"key": key(), "kind": "declaration", "note": "signed", "picture": file}
    assert desk.post(address, sent).status_code == 302
    (kept,) = load.evidence.all()
    assert kept.is_pdf
    answer = desk.get(reverse("goods-picture", args=[kept.file_name]))
    assert answer.content == PDF
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == (
        f'attachment; filename="{load.code}-declaration.pdf"'
    )
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "(PDF)" in desk.get(reverse("goods-load", args=[load.code])).content.decode()


@pytest.mark.parametrize(
    "content",
    [
        b"%PDF-1.7 cut off in the middle",
        b"\n" + PDF,
        b"%PDF-9.0 of no known kind %%EOF",
        PDF + b" " * 1024,
        PDF.ljust(2_000_000, b" ") + b"%%EOF",
    ],
)
def test_what_is_no_whole_pdf_or_too_large_is_refused(
    desk: Client, shop: Shop, bea: User, settings: Any, content: bytes
) -> None:
    settings.PHOTO_BYTES_MAX = 1_000_000
    load = goods_makers.taken_in(shop, bea)
    file = goods_makers.io.BytesIO(content)
    file.name = "declaration.pdf"
    sent = {"key": key(), "kind": "receipt", "picture": file}
    answer = desk.post(reverse("goods-evidence", args=[load.code]), sent)
    assert (answer.status_code, "picture" in answer.context["form"].errors) == (422, True)
    assert not load.evidence.exists()
