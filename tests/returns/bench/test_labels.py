"""Labels are read back from the drawn PDF: sizes from its pages, text by extraction, QR by eye."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError
from django.test import Client
from pypdf import PdfReader

from inventory.errors import BadInput
from inventory.ledger.rules import places
from inventory.models import Lot, Workshop
from returns.bench.pages import labels
from returns.bench.pages.labels import Label
from returns.models import Dispatch, Parcel
from tests.makers import Shop, key
from tests.returns.bench_makers import booked, filed, on_shelf

pytestmark = pytest.mark.edge
MM_PER_POINT = 25.4 / 72


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def size_mm(pdf: bytes) -> tuple[int, int]:
    box = read(pdf).pages[0].mediabox
    return round(float(box.width) * MM_PER_POINT), round(float(box.height) * MM_PER_POINT)


def text(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in read(pdf).pages)


def scanned(pdf: bytes, tmp_path) -> set[str]:  # type: ignore[no-untyped-def]
    """What a camera reads off the first page, drawn at 300 dpi."""
    import subprocess

    import zxingcpp
    from PIL import Image

    (tmp_path / "label.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", "300", "-png", "-singlefile", tmp_path / "label.pdf"]
    subprocess.run([*command, tmp_path / "label"], check=True, timeout=60)
    with Image.open(tmp_path / "label.png") as picture:
        return {found.text for found in zxingcpp.read_barcodes(picture)}


def test_tag_has_the_workshops_size_its_code_and_no_personal_data(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    pdf = labels.labels_pdf([labels.of_frame(frame)])
    assert size_mm(pdf) == (70, 40)
    assert len(read(pdf).pages) == 1
    assert frame.tag in text(pdf)
    assert "Pim" not in text(pdf)


@pytest.mark.parametrize("size", [(70, 40), (38, 21), (100, 60)])
def test_camera_reads_the_link_at_every_size(
    shop: Shop, bea: User, tmp_path, settings, size: tuple[int, int]
) -> None:  # type: ignore[no-untyped-def]
    settings.BASE_URL = "https://frames.example.org"
    Workshop.objects.update(label_width_mm=size[0], label_height_mm=size[1])
    frame = on_shelf(shop, bea)
    pdf = labels.labels_pdf([labels.of_frame(frame)])
    assert scanned(pdf, tmp_path) == {f"https://frames.example.org/go/{frame.tag}/"}


def test_several_labels_take_a_page_each_or_share_a_sheet(shop: Shop) -> None:
    """On A4 less 8 mm all round a label of 70 x 40 mm fits 2 across and 7 down: 14 a sheet."""
    many = [Label(f"X-{number:04}") for number in range(15)]
    assert len(read(labels.labels_pdf(many)).pages) == 15
    sheets = labels.sheet_pdf(many)
    assert len(read(sheets).pages) == 2
    assert size_mm(sheets) == (210, 297)
    found = text(sheets)
    assert all(label.code in found for label in many)
    assert len(read(labels.sheet_pdf(many[:14])).pages) == 1


def test_without_a_size_every_label_comes_on_a_sheet_cut_in_even_parts(
    shop: Shop, bea: User, tmp_path: Path
) -> None:
    """Of the 194 x 281 mm within the margin each label gets 64 x 35 mm: 3 across, 8 down."""
    Workshop.objects.update(label_width_mm=None, label_height_mm=None)
    many = [Label(f"X-{number:04}") for number in range(25)]
    for drawn in (labels.labels_pdf(many), labels.sheet_pdf(many)):
        assert size_mm(drawn) == (210, 297)
        assert len(read(drawn).pages) == 2
    assert len(read(labels.labels_pdf(many[:24])).pages) == 1
    frame = on_shelf(shop, bea)
    one = labels.labels_pdf([labels.of_frame(frame)])
    assert scanned(one, tmp_path) == {f"http://127.0.0.1:8000/go/{frame.tag}/"}
    dispatch = Dispatch.objects.create(
        code="D-1", key=key(), kind="kit", request=filed(shop.avocet_slate)
    )
    assert size_mm(labels.address_pdf(dispatch)) == (210, 297)
    assert "64 mm wide and 35 mm high" in text(labels.calibration_pdf())


@pytest.mark.parametrize("half", [{"label_width_mm": 70}, {"label_height_mm": 40}])
def test_half_a_label_size_is_refused_by_the_database(db: None, half: dict[str, int]) -> None:
    Workshop.the()
    with pytest.raises(IntegrityError):
        Workshop.objects.update(**half)


@pytest.mark.parametrize("count", [0, 201])
def test_too_few_or_too_many_labels_are_refused(db: None, count: int) -> None:
    with pytest.raises(BadInput):
        labels.sheet_pdf([Label("X")] * count)


@pytest.mark.parametrize(
    ("width", "height", "fits"),
    [(70, 14, False), (70, 15, True), (194, 40, True), (195, 40, False)],
)
def test_label_size_that_cannot_be_printed_is_refused(
    db: None, width: int, height: int, fits: bool
) -> None:
    Workshop.the()
    Workshop.objects.update(label_width_mm=width, label_height_mm=height)
    if fits:
        assert labels.labels_pdf([Label("X")])[:4] == b"%PDF"
        return
    with pytest.raises(BadInput):
        labels.labels_pdf([Label("X")])


def test_parcel_box_and_lot_have_labels(shop: Shop, bea: User) -> None:
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    lot = Lot.objects.create(
        code="L-TEST",
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_return",
        heat=[[2, 1_000_000]],
        made_at=datetime(2026, 10, 1, tzinfo=UTC),
    )
    parcel = booked(bea)
    made = [labels.of_parcel(parcel), labels.of_box(box), labels.of_lot(lot)]
    found = text(labels.labels_pdf(made))
    assert parcel.code in found
    assert "PP · Slate" in found
    assert "L-TEST" in found
    assert box.code in labels.of_box(box).path


def test_a_bins_label_names_its_part_and_its_code_leads_to_the_stock(
    shop: Shop,
    bea: User,
    client: Client,
    tmp_path,  # type: ignore[no-untyped-def]
) -> None:
    client.force_login(bea)
    drawn = client.get("/bench/bin/arm-avocet/label.pdf").content
    assert "Arm, Avocet" in text(drawn)
    (link,) = scanned(drawn, tmp_path)
    assert link.endswith("/go/bin-arm-avocet/")
    assert (
        client.get("/go/?code=bin-arm-avocet").headers["Location"] == "/bench/stock/#bin-arm-avocet"
    )
    assert 'id="bin-arm-avocet"' in client.get("/bench/stock/").content.decode()
    assert client.get("/bench/labels/sheet/bins.pdf").content.startswith(b"%PDF-")
    assert client.get("/bench/bin/no-such-part/label.pdf").status_code == 404


def test_a_label_has_the_day_on_the_workshops_clock(shop: Shop, bea: User) -> None:
    late = datetime(2026, 9, 30, 22, 30, tzinfo=UTC)
    parcel = Parcel.objects.create(code="P-LATE", key=key(), arrived_at=late)
    lot = Lot(code="L-LATE", polymer=shop.pp, colour=shop.slate, origin="virgin", made_at=late)
    assert labels.of_parcel(parcel).lines[-1] == "2026-10-01"
    assert labels.of_lot(lot).lines[-1] == "2026-10-01"


def test_address_label_names_the_country_only_abroad(shop: Shop, bea: User) -> None:
    request = filed(shop.avocet_slate)
    person = request.person
    assert person is not None
    person.street, person.postal_code, person.city = "Reed 3", "1010", "Wader"
    person.country = "DE"
    person.save()
    dispatch = Dispatch.objects.create(code="D-1", key=key(), kind="kit", request=request)
    at_home = text(labels.address_pdf(dispatch))
    assert "Pim Sandling" in at_home
    assert "1010 Wader" in at_home
    assert "Tidewrack Frames" in at_home
    assert "GERMANY" not in at_home
    person.country = "AT"
    person.save()
    assert "AUSTRIA" in text(labels.address_pdf(Dispatch.objects.get()))


def test_addresses_share_sheets_as_many_as_fit(shop: Shop, bea: User) -> None:
    """70 x 40 mm on the 194 x 281 mm within the margin: 2 beside one another, 7 rows, 14."""
    leaving = []
    for number in range(15):
        request = filed(shop.avocet_slate)
        assert request.person is not None
        request.person.name, request.person.city = f"Pim {number:02}", "Wader"
        leaving.append(Dispatch(code=f"D-{number:02}", request=request))
    pages = read(labels.addresses_pdf(leaving)).pages
    assert [page.extract_text().count("Tidewrack Frames") for page in pages] == [14, 1]
    assert "Pim 14" in pages[1].extract_text()
    assert "D-14" in pages[1].extract_text()


def test_address_of_an_erased_person_is_refused(shop: Shop, bea: User) -> None:
    request = filed(shop.avocet_slate, person=None)
    dispatch = Dispatch.objects.create(code="D-1", key=key(), kind="kit", request=request)
    with pytest.raises(BadInput, match="no address"):
        labels.address_pdf(dispatch)


def test_calibration_print_is_drawn(db: None) -> None:
    assert "100 mm" in text(labels.calibration_pdf())


def test_label_that_names_an_address_to_fetch_is_not_drawn(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Label, "qr_svg", '<img src="file:///etc/hostname">')
    with pytest.raises(BadInput, match="another file"):
        labels.labels_pdf([Label("X")])


@pytest.mark.parametrize(
    ("wish", "lenses_back", "mark"),
    [
        ("regrind", True, "lenses back · else grind"),
        ("regrind", False, "else grind"),
        ("post_back", True, "lenses back · else back as it is"),
        ("", False, "wish not known"),
    ],
)
def test_a_tag_is_marked_with_the_wish_and_the_lenses(
    shop: Shop, bea: User, wish: str, lenses_back: bool, mark: str
) -> None:
    frame = on_shelf(shop, bea)
    frame.wish, frame.lenses_back = wish, lenses_back
    assert labels.of_frame(frame).mark == mark
    assert mark.split(" ", maxsplit=1)[0] in text(labels.labels_pdf([labels.of_frame(frame)]))
