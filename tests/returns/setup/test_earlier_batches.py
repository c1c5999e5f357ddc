"""A batch of before the ledger is entered in plain words, with how often its plastic was melted."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.models import ProductionBatch
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


@pytest.fixture
def enter(client: Client, shop: Shop, olga: User) -> Any:
    client.force_login(olga)

    def post(**facts: Any) -> Any:
        told = {"key": str(key()), "code": "AVSL-2501", "colourway": shop.avocet_slate.pk}
        told |= {"made_on": "2025-01-20", "pieces": "140", "melted_2": "100"}
        return client.post("/owner/setup/batches/", told | facts)

    return post


def test_a_batch_is_kept_with_its_shares(enter: Any) -> None:
    assert enter(melted_2="80", melted_3="16", melted_4="4,0").status_code == 302
    batch = ProductionBatch.objects.get(code="AVSL-2501")
    assert batch.heat == [[2, 800_000], [3, 160_000], [4, 40_000]]
    assert (batch.pieces, batch.issued_mg, str(batch.made_on)) == (140, 0, "2025-01-20")


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"melted_2": "99.9"}, "melted_1"),
        ({"melted_3": "0.1"}, "melted_1"),
        ({"melted_2": ""}, "melted_1"),
        ({"made_on": "2031-01-01"}, "made_on"),
        ({"pieces": "0"}, "pieces"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(enter: Any, facts: Any, field: str) -> None:
    refused = enter(**facts)
    assert refused.status_code == 400
    assert field in refused.context["form"].errors
    assert not ProductionBatch.objects.filter(code="AVSL-2501").exists()


def test_a_repeat_is_one_batch_and_another_of_its_name_is_refused(enter: Any) -> None:
    once = {"key": str(key())}
    for _time in range(2):
        assert enter(**once).status_code == 302
    assert enter().status_code == 400
    assert ProductionBatch.objects.filter(code="AVSL-2501").count() == 1
