"""The two filing pages, as a phone without scripts uses them."""

from __future__ import annotations

import io
import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from inventory.models import Workshop
from returns.filing.pages import drawing
from returns.filing.rules import intake
from returns.models import Colourway, FrameModel, Photo, Request
from returns.models.catalogue import ComponentKey, RimShape
from tests.makers import Shop

pytestmark = pytest.mark.django_db


def typed(shop: Shop, **changes: Any) -> dict[str, Any]:
    return {
        "key": str(uuid.uuid4()),
        "colourway": shop.avocet_moss.pk,
        "component": "arm_left",
        "defect": "snapped",
        "note": "It fell off the table.",
        "name": "Wanda Reed",
        "email": "wanda@example.org",
        "street": "7 Towpath",
        "extra": "",
        "postal_code": "12345",
        "city": "Saltmarsh",
        "region": "",
        "country": "DE",
        "wish": "regrind",
        "lenses_back": "yes",
        "notice": "on",
    } | changes


def screws(shop: Shop, **changes: Any) -> dict[str, Any]:
    facts = {"component": "screw_left", "defect": "loose_screw"} | changes
    return typed(shop, **facts)


def picture(form: str = "JPEG", size: tuple[int, int] = (60, 40)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, form)
    return out.getvalue()


def upload(name: str = "mine.jpg", content: bytes | None = None) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, picture() if content is None else content, "image/jpeg")


@pytest.mark.parametrize("path", ["/", "/ask/screws/", "/ask/return/", "/find/", "/notice/"])
def test_open_pages_answer(client: Client, shop: Shop, path: str) -> None:
    assert client.get(path).status_code == 200


def test_pages_carry_no_inline_style_or_script(client: Client, shop: Shop) -> None:
    for path in ("/", "/ask/screws/", "/ask/return/", "/guide/avocet/", "/notice/", "/find/"):
        page = client.get(path).content.decode()
        assert 'style="' not in page
        assert not re.search(r"<script(?![^>]*\bsrc=)", page)


def test_filing_a_return_leads_to_its_story(client: Client, shop: Shop) -> None:
    answer = client.post("/ask/return/", typed(shop))
    request = Request.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == f"/story/{intake.link_secret(request)}/"
    assert (request.wish, request.lenses_back, request.note) == (
        "regrind",
        True,
        "It fell off the table.",
    )


def test_double_submit_shows_the_same_story(client: Client, shop: Shop) -> None:
    facts = typed(shop)
    first = client.post("/ask/return/", facts)
    second = client.post("/ask/return/", facts)
    assert first["Location"] == second["Location"]
    assert Request.objects.count() == 1


@pytest.mark.parametrize("path", ["/ask/return/", "/ask/screws/"])
def test_an_empty_form_may_be_gone_back_to_and_a_filled_one_is_never_stored(
    client: Client, shop: Shop, path: str
) -> None:
    assert "no-store" not in client.get(path)["Cache-Control"]
    assert client.get(path)["Cache-Control"].startswith("private")
    assert client.post(path, typed(shop, email="wanda"))["Cache-Control"] == "no-store"


@pytest.mark.parametrize(("path", "kind"), [("/ask/return/", "typed"), ("/ask/screws/", "screws")])
def test_same_words_under_a_new_key_show_the_first_reference_and_ask(
    client: Client, shop: Shop, path: str, kind: str
) -> None:
    makes = {"typed": typed, "screws": screws}[kind]
    client.post(path, makes(shop))
    page = client.post(path, makes(shop, email=" wanda@example.org ", postal_code="12345 "))
    first = Request.objects.get()
    text = page.content.decode()
    assert (page.status_code, page.context["twin"]) == (200, first)
    assert "You have filed this already" in text
    assert first.reference in text
    assert intake.link_secret(first) not in text
    assert 'value="7 Towpath"' in text
    answer = client.post(path, makes(shop, another="1"))
    assert answer.status_code == 302
    assert Request.objects.count() == 2


@pytest.mark.parametrize(
    "change", [{"component": "front"}, {"street": "8 Towpath"}, {"email": "w@example.org"}]
)
def test_other_words_are_no_twin(client: Client, shop: Shop, change: dict[str, Any]) -> None:
    client.post("/ask/return/", typed(shop))
    assert client.post("/ask/return/", typed(shop, **change)).status_code == 302
    assert Request.objects.count() == 2


def test_a_steered_twin_is_asked_once_and_then_filed(client: Client, shop: Shop) -> None:
    facts = {"component": "screw_left", "defect": "loose_screw", "go_on": "1"}
    client.post("/ask/return/", typed(shop, **facts))
    assert client.post("/ask/return/", typed(shop, **facts)).context["twin"]
    del facts["go_on"]
    answer = client.post("/ask/return/", typed(shop, another="1", **facts))
    assert answer.status_code == 302
    assert Request.objects.count() == 2


def test_going_back_and_sending_other_content_asks_once_then_files(
    client: Client, shop: Shop
) -> None:
    facts = typed(shop)
    client.post("/ask/return/", facts)
    page = client.post("/ask/return/", facts | {"note": "Another one"}).content.decode()
    assert Request.objects.count() == 1
    fresh = re.search(r'name="key" value="([0-9a-f-]{36})"', page)
    assert fresh is not None
    assert fresh[1] != facts["key"]
    client.post("/ask/return/", facts | {"note": "Another one", "key": fresh[1]})
    assert Request.objects.count() == 2


def test_screws_are_asked_for_in_one_post(client: Client, shop: Shop) -> None:
    client.post("/ask/screws/", screws(shop))
    assert Request.objects.get().state == "reserved"


def test_model_without_kit_is_not_offered_for_screws(client: Client, shop: Shop) -> None:
    shop.avocet.components.update(in_kit=False)
    assert "Slate" not in client.get("/ask/screws/").content.decode()
    assert "Slate" in client.get("/ask/return/").content.decode()


def test_loose_screw_as_return_is_steered_to_screws_first(client: Client, shop: Shop) -> None:
    facts = typed(shop, defect="loose_screw")
    page = client.post("/ask/return/", facts)
    assert page.status_code == 200
    assert not Request.objects.exists()
    text = page.content.decode()
    assert 'formaction="/ask/screws/?send"' in text
    assert "It fell off the table." in text
    client.post("/ask/screws/", facts)
    assert Request.objects.get().kind == "spare_screws"


def test_steered_customer_may_go_on_anyway(client: Client, shop: Shop) -> None:
    client.post("/ask/return/", typed(shop, defect="loose_screw", go_on="1"))
    assert Request.objects.get().kind == "send_back"


def test_model_without_kit_is_not_steered(client: Client, shop: Shop) -> None:
    shop.avocet.components.update(in_kit=False)
    client.post("/ask/return/", typed(shop, defect="loose_screw"))
    assert Request.objects.get().kind == "send_back"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"colourway": "999999"}, "colourway"),
        ({"colourway": "x"}, "colourway"),
        ({"component": "nose"}, "component"),
        ({"defect": ""}, "defect"),
        ({"wish": ""}, "wish"),
        ({"lenses_back": ""}, "lenses_back"),
        ({"notice": ""}, "notice"),
        ({"postal_code": "123"}, "postal_code"),
        ({"city": ""}, "city"),
        ({"country": "ZZ"}, "country"),
        ({"email": "wanda"}, "email"),
        ({"name": "W\nBcc: x@example.org"}, "name"),
        ({"note": "x" * 501}, "note"),
        ({"key": "no"}, "key"),
        ({"street": "7\x00"}, "street"),
    ],
)
def test_bad_field_keeps_what_was_typed(
    client: Client, shop: Shop, change: dict[str, Any], field: str
) -> None:
    page = client.post("/ask/return/", typed(shop, **change))
    assert page.status_code == 200
    assert field in page.context["form"].errors
    assert not Request.objects.exists()
    if field not in ("note", "street"):
        assert "7 Towpath" in page.content.decode()


def test_every_part_has_a_shape_that_labels_its_radio(client: Client, shop: Shop) -> None:
    assert set(drawing.shapes()) == set(ComponentKey)
    assert drawing.mirror(drawing.mirror("M12 5 L300 7")) == "M12 5 L300 7"
    assert drawing.mirror("M12 5 L300 7") == "M348 5 L60 7"
    page = client.get("/ask/return/").content.decode()
    for index, key in enumerate(ComponentKey.values):
        assert f'class="part part-{key}" for="id_component_{index}"' in page
        assert f'value="{key}"' in page


def test_every_shape_of_rims_is_drawn_and_its_front_is_its_own() -> None:
    assert set(drawing.RIMS) == set(RimShape)
    fronts = {drawing.shapes(rim)[ComponentKey.FRONT].body for rim in RimShape.values}
    assert len(fronts) == len(RimShape)
    assert {drawing.shapes(rim)[ComponentKey.ARM_LEFT] for rim in RimShape.values} == {
        drawing.shapes()[ComponentKey.ARM_LEFT]
    }
    for rim in drawing.RIMS.values():
        assert drawing.mirror(rim.bridge) != rim.bridge
        assert _points(drawing.mirror(rim.bridge)) == _points(rim.bridge)


def test_the_style_sheet_shows_every_shape_of_rims() -> None:
    style = Path("returns/static/returns/customer.css").read_text(encoding="utf-8")
    for rim in RimShape.values:
        assert f".drawn-{rim} .rim-{rim}" in style
        assert f"form:has(.of-{rim} :checked) .drawing .rim.rim-{rim}" in style


def _points(path: str) -> set[str]:
    return set(re.findall(r"\d+ \d+", path))


def test_the_drawing_starts_as_the_chosen_model_or_the_first(client: Client, shop: Shop) -> None:
    FrameModel.objects.filter(pk=shop.avocet.pk).update(rim="round")
    page = client.get("/ask/return/").content.decode()
    assert 'class="drawing drawn-round"' in page
    assert "<span data-drawn-as></span>" in page
    other = FrameModel.objects.create(code="knot", name="Knot", rim="rectangular", **COSTS)
    of = {"polymer": shop.avocet_slate.polymer, "colour": shop.avocet_slate.colour}
    chosen = Colourway.objects.create(model=other, **of)
    page = client.get(f"/ask/return/?frame={chosen.pk}").content.decode()
    assert 'class="drawing drawn-rectangular"' in page
    assert "<span data-drawn-as>Knot, Slate</span>" in page
    assert page.count('class="pick of-round"') == 2
    assert page.count('class="pick of-rectangular"') == 1


COSTS: dict[str, Any] = {"new_frame_cost_minor": 1480, "expected_life_months": 24}


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition "relative luminance")."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: float, other: float) -> float:
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_an_outline_of_the_drawing_stands_out_whatever_the_colour(scheme: int) -> None:
    """Each part has a line in ink, and round it one in the ground's colour: WCAG 2.2, 1.4.11 asks
    3 to 1 of a graphic, and of any fill at least one of the two is that far away."""
    tokens = Path("inventory/static/hingeback/tokens.css").read_text(encoding="utf-8")
    ink, ground = (
        _luminance(re.findall(rf"--{name}: (#[0-9a-f]{{6}});", tokens)[scheme])
        for name in ("ink", "surface")
    )
    assert _contrast(ink, ground) >= 9
    greys = [_luminance(f"#{level:02x}{level:02x}{level:02x}") for level in range(256)]
    assert min(max(_contrast(grey, ink), _contrast(grey, ground)) for grey in greys) >= 3


def test_photos_are_kept_as_fresh_jpegs(client: Client, shop: Shop) -> None:
    facts = typed(shop, photos=[upload(), upload("b.png", picture("PNG"))])
    client.post("/ask/return/", facts)
    kept = Photo.objects.all()
    assert len(kept) == 2
    assert "mine" not in kept[0].file_name


def test_fifth_photo_is_refused(client: Client, shop: Shop) -> None:
    page = client.post("/ask/return/", typed(shop, photos=[upload() for _ in range(5)]))
    assert "photos" in page.context["form"].errors
    client.post("/ask/return/", typed(shop, photos=[upload() for _ in range(4)]))
    assert Photo.objects.count() == 4


def test_broken_photo_is_an_error_beside_its_field(client: Client, shop: Shop) -> None:
    page = client.post("/ask/return/", typed(shop, photos=[upload(content=b"\xff\xd8\xff no")]))
    assert page.status_code == 200
    assert "photos" in page.context["form"].errors
    assert not Request.objects.exists()


def test_filing_is_limited_per_visitor(client: Client, shop: Shop) -> None:
    for _ in range(30):
        assert client.post("/ask/return/", {}).status_code == 200
    assert client.post("/ask/return/", typed(shop)).status_code == 429
    assert not Request.objects.exists()


def test_guide_of_an_unknown_model_is_not_found(client: Client, shop: Shop) -> None:
    assert client.get("/guide/avocet/").status_code == 200
    assert client.get("/guide/none/").status_code == 404


def test_guide_names_the_screw_its_cautions_and_when_to_stop(client: Client, shop: Shop) -> None:
    page = client.get("/guide/avocet/").content.decode()
    for words in (
        "M1.4",
        "Both sides take the same screw",
        "swallowed or breathed in",
        "hurt an eye",
        "Do not force anything",
        "prescription",
        "Stop and send it back to us",
    ):
        assert words in page
    assert page.count('<svg viewBox="') >= 6


def test_start_page_promises_the_days_that_the_owner_set(client: Client, shop: Shop) -> None:
    Workshop.objects.update(promise_days=9)
    page = client.get("/").content.decode()
    assert "mean to be done 9 days after it came" in page
    assert 'href="/find/"' in page
    assert 'href="/guide/avocet/"' in page


def test_summary_of_errors_follows_the_page_and_says_what_to_do(client: Client, shop: Shop) -> None:
    page = client.post("/ask/return/", {"key": str(uuid.uuid4()), "country": "DE"})
    summary = page.content.decode().split("error-summary")[1].split("</ul>")[0]
    data = re.findall(r'<a href="#(id_[a-z_0-9]+)">([^<]+)</a>', summary)
    assert [target for target, _words in data] == [
        "id_colourway_0",
        "id_component_0",
        "id_defect_0",
        "id_wish_0",
        "id_lenses_back_0",
        "id_email",
        "id_name",
        "id_street",
        "id_postal_code",
        "id_city",
        "id_notice",
    ]
    assert data[0][1] == (
        "Which frame is it: Choose one of our frames, or tick that you do not know which."
    )
    assert not [words for _target, words in data if "Fill this in" in words or "?:" in words]
