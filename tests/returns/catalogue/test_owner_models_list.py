"""Models from a list, on the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from returns.models import FrameModel
from tests.makers import Shop

pytestmark = pytest.mark.django_db

EXAMPLE = (Path(__file__).parents[3] / "fixtures" / "imports" / "models.csv").read_bytes()


def upload(client: Client, content: bytes) -> Any:
    return client.post("/owner/models/", {"file": SimpleUploadedFile("models.csv", content)})


def test_a_list_is_tried_then_imported_once(owner: Client, shop: Shop) -> None:
    tried = upload(owner, EXAMPLE)
    assert tried.status_code == 200
    assert not FrameModel.objects.filter(code="knot").exists()
    form = tried.context["form"]
    facts = {"key": str(form["key"].value()), "rows": form["rows"].value()}
    for _ in range(2):
        assert owner.post("/owner/models/import/", facts).status_code == 302
    assert FrameModel.objects.get(code="knot").components.count() == 7


def test_a_known_model_asks_for_a_tick(owner: Client, shop: Shop) -> None:
    content = EXAMPLE.replace(b"knot,Knot", b"avocet,Avocet")
    form = upload(owner, content).context["form"]
    facts = {"key": str(form["key"].value()), "rows": form["rows"].value()}
    refused = owner.post("/owner/models/import/", facts)
    assert refused.status_code == 400
    assert "Confirm it." in refused.content.decode()
    assert owner.post("/owner/models/import/", {**facts, "replace": "on"}).status_code == 302
    assert shop.avocet.components.get(key="front").nominal_mg == 9_000


@pytest.mark.parametrize(
    "content", [b"", b"a,b\n1,2\n", b"\xff\xfe", EXAMPLE.replace(b"9000", b"0")]
)
def test_what_will_not_do_is_said(owner: Client, shop: Shop, content: bytes) -> None:
    answer = upload(owner, content)
    assert answer.status_code == 400
    assert "/owner/models/import/" not in answer.content.decode()


def test_an_import_without_its_list_goes_back(owner: Client, shop: Shop) -> None:
    assert owner.post("/owner/models/import/", {}).status_code == 302
    assert owner.post("/owner/models/import/", {"key": "x", "rows": "y"}).status_code == 302


def test_the_template_names_every_column_and_its_example_is_not_imported(
    owner: Client, shop: Shop
) -> None:
    template = owner.get("/owner/models/template.csv").content
    header = template.decode().splitlines()[0].split(",")
    assert set(EXAMPLE.decode().splitlines()[0].split(",")) <= set(header)
    tried = upload(owner, template)
    assert tried.status_code == 400
    assert {one.column for one in tried.context["rejected"]} == {"model"}
    mended = upload(owner, template.replace(b"example,", b"dunlin,"))
    assert mended.context["verdict"].new == ("dunlin",)
    assert mended.context["verdict"].colourless == ()


def test_a_trial_names_column_and_cell_and_what_would_change(owner: Client, shop: Shop) -> None:
    data = upload(owner, EXAMPLE.replace(b",9000,", b",9.5,")).content.decode()
    assert "<code>nominal_mg</code><br>9.5</td>" in data
    changed = upload(owner, EXAMPLE.replace(b"knot,Knot", b"avocet,Avocet")).content.decode()
    assert ">11200</td>" in changed
    assert ">9000</td>" in changed


def test_many_models_are_not_all_named(owner: Client, shop: Shop) -> None:
    head, front = EXAMPLE.splitlines()[:2]
    rows = [front.replace(b"knot", b"m%d" % number) for number in range(30)]
    data = upload(owner, b"\n".join([head, *rows])).content.decode()
    assert "and 18 more" in data
