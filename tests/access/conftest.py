"""The people and the things that a walk over all addresses meets."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from inventory.ledger.rules import places
from inventory.material.rules import grinding
from inventory.models import AccessToken, Movement, OutboxMessage, Place
from inventory.staff.rules import tokens
from returns.filing.rules import intake
from returns.goods import rules as goods
from tests import makers
from tests.makers import NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns import goods_makers
from tests.returns.bench_makers import on_shelf


@pytest.fixture
def people(bea: User, acke: User, olga: User) -> dict[str, User]:
    return {"bench": bea, "accountant": acke, "owner": olga}


@pytest.fixture
def arguments(shop: Shop, bea: User, olga: User) -> dict[str, str]:
    """What the parts of an address are, so that most lead to something."""
    opening(400_000, shop)
    request = customers.sent_back(shop)
    frame = on_shelf(shop, bea, request=request)
    box = Place.objects.get(kind="box")
    run = grinding.propose(key=key(), box=box, at=NOON, by=bea)
    screws = customers.asked_screws(shop)
    load = goods_makers.taken_in(shop, bea)
    # Otherwise /ready/ answers 503: letters of October would still wait for a worker.
    OutboxMessage.objects.update(settled_at=NOON)
    makers.token(olga, "bench", at=NOON)
    return {
        "tag": frame.tag,
        "reference": screws.reference,
        "secret": intake.link_secret(request),
        "parcel/code": frame.parcel.code,
        "parcels/code": frame.parcel.code,
        "go/code": frame.tag,
        "box/code": box.code,
        "boxes/code": box.code,
        "run/code": run.code,
        "runs/code": run.code,
        "goods/code": load.code,
        "goods/secret": goods.link_secret(load),
        "evidence/file_name": goods_makers.evidence(load, bea).file_name,
        "parts/code": shop.screw.code,
        "places/code": places.box(polymer=shop.pp, colour=shop.slate, origin="virgin").code,
        "models/code": "avocet",
        "batches/code": "AV-2601",
        "model": "avocet",
        "label": "2026-08",
        "number": str(Movement.objects.order_by("number")[0].number),
        "name": "report.csv",
        "table/name": "losses",
        "handle": tokens.handle(AccessToken.objects.get()),
        "key": str(key()),
        "step": "1",
        "sheet": "1",
    }
