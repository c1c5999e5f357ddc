"""Photos, reports and copies in a folder and in a store that speaks S3: the same either way."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from environs import Env
from moto.server import ThreadedMotoServer
from PIL import Image

from deploy import copies, stores
from inventory.errors import NotFound
from inventory.months.reports import pdf_files
from inventory.running.queries import copies as kept
from returns.filing.rules import photos
from returns.models import Photo
from tests import makers
from tests.deploy.test_away import free_port
from tests.inventory.month_makers import furnished_october
from tests.makers import NOON, Shop
from tests.returns.customer_makers import sent_back


@pytest.fixture(scope="module")
def s3() -> Iterator[str]:
    """A server that speaks S3, and the address at which it does."""
    port = free_port()
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=port, verbose=False)
    server.start()
    yield f"http://127.0.0.1:{port}"
    server.stop()


@pytest.fixture
def bucket(s3: str, settings: Any, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Our three stores are one bucket of it; returns the environment that says so."""
    import boto3

    said = {
        "HINGEBACK_STORE_BUCKET": f"workshop-{free_port()}",
        "HINGEBACK_STORE_ENDPOINT": s3,
        "HINGEBACK_STORE_KEY_ID": "someone",
        "HINGEBACK_STORE_SECRET": "hush",
        "HINGEBACK_STORE_FOLDER": "frames",
    }
    client = boto3.client(
        "s3",
        endpoint_url=s3,
        aws_access_key_id="someone",
        aws_secret_access_key="hush",
        region_name="us-east-1",
    )
    client.create_bucket(Bucket=said["HINGEBACK_STORE_BUCKET"])
    for name, value in said.items():
        monkeypatch.setenv(name, value)
    settings.STORAGES = live.STORAGES | stores.of(Env(prefix="HINGEBACK_"))
    return said


@pytest.fixture(params=["folder", "s3"])
def any_store(request: pytest.FixtureRequest) -> None:
    if request.param == "s3":
        request.getfixturevalue("bucket")


def picture() -> photos.Picture:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(out, "PNG")
    return photos.redraw(io.BytesIO(out.getvalue()), size_bytes=100)


@pytest.mark.django_db
@pytest.mark.usefixtures("any_store")
def test_a_photo_is_kept_shown_and_forgotten(
    shop: Shop, client: Client, bea: User, django_capture_on_commit_callbacks: Any
) -> None:
    request = sent_back(shop)
    row = photos.keep(request=request, pictures=[picture()], at=NOON)[0]
    client.force_login(bea)
    shown = client.get(reverse("frame-photo", args=[row.file_name]))
    assert shown.content == photos.read(row.file_name)
    assert shown.content[:2] == b"\xff\xd8"
    with django_capture_on_commit_callbacks(execute=True):
        photos.remove_all(request)
    assert not photos.is_there(row.file_name)
    with pytest.raises(NotFound):
        photos.read(row.file_name)


@pytest.mark.django_db
@pytest.mark.usefixtures("any_store")
def test_what_no_row_names_goes_once_it_is_old(shop: Shop) -> None:
    row = photos.keep(request=sent_back(shop), pictures=[picture()], at=NOON)[0]
    photos.store().save("left-behind.jpg", ContentFile(b"x"))
    long_ago, soon = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
    assert photos.remove_orphans(older_than=long_ago) == 0
    assert photos.remove_orphans(older_than=soon) == 1
    assert photos.store().listdir("")[1] == [row.file_name]


@pytest.mark.django_db
@pytest.mark.usefixtures("any_store")
def test_a_report_is_made_and_sent(shop: Shop, client: Client, acke: User) -> None:
    furnished_october(shop)
    asked = pdf_files.ask(key=makers.key(), label="2026-10", at=NOON, by=acke)
    pdf_files._make(asked)
    asked.refresh_from_db()
    client.force_login(acke)
    sent = client.get(reverse("month-pdf-file", args=["2026-10", asked.key]))
    assert b"".join(sent.streaming_content).startswith(b"%PDF")  # type: ignore[attr-defined]
    # The same figures have the same name: made again, it takes the place of the first.
    pdf_files._make(asked)
    assert storages["reports"].listdir("")[1] == [asked.file_name]


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_proved_copy_is_carried_to_the_store_and_brings_photos_back_into_another(
    shop: Shop, bucket: dict[str, str], tmp_path: Path, settings: Any
) -> None:
    furnished_october(shop)
    row = photos.keep(request=sent_back(shop), pictures=[picture()], at=NOON)[0]
    told = StringIO()
    call_command("backup", stdout=told)
    assert "checks passed" in told.getvalue()
    (name,) = copies.there().values()
    assert list(kept.folder().glob("*.gz*")) == []
    proved = kept.standing().proved
    assert proved is not None
    assert proved.file == name
    fetched = tmp_path / "fetched"
    with storages["copies"].open(name) as file:
        fetched.write_bytes(file.read())
    if "sqlite" not in str(settings.DATABASES["default"]["ENGINE"]):
        return
    new = {"HINGEBACK_DATA_DIR": str(tmp_path / "new"), "HINGEBACK_STORE_FOLDER": "moved"}
    here = {name: text for name, text in os.environ.items() if not name.startswith("HINGEBACK_")}
    done = subprocess.run(
        [sys.executable, "manage.py", "restore", str(fetched)],
        cwd=live.BASE_DIR,
        env=here | bucket | new,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    options = stores._s3(Env(prefix="HINGEBACK_"), bucket["HINGEBACK_STORE_BUCKET"], "photos")
    settings.STORAGES = live.STORAGES | {
        "photos": {
            "BACKEND": "storages.backends.s3.S3Storage",
            "OPTIONS": options | {"location": "moved/photos"},
        }
    }
    assert storages["photos"].exists(row.file_name)


@pytest.mark.django_db(transaction=True)
def test_a_store_of_copies_that_is_away_is_said_and_the_copy_stays_here(
    shop: Shop, bucket: dict[str, str], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnished_october(shop)
    reached = settings.STORAGES
    monkeypatch.setenv("HINGEBACK_STORE_ENDPOINT", f"http://127.0.0.1:{free_port()}")
    away = stores.of(Env(prefix="HINGEBACK_"))
    settings.STORAGES = live.STORAGES | away
    with pytest.raises(CommandError, match="Nothing was copied"):
        call_command("backup", stdout=StringIO())
    settings.STORAGES = reached | {"copies": away["copies"]}
    with pytest.raises(CommandError, match="store of copies is away"):
        call_command("backup", stdout=StringIO())
    assert len(list(kept.folder().glob("*.tar.gz"))) == 1
    assert kept.standing().failed is not None


@pytest.mark.django_db
def test_a_store_that_is_away_is_a_503_of_ours(
    shop: Shop, bea: User, bucket: dict[str, str], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HINGEBACK_STORE_ENDPOINT", f"http://127.0.0.1:{free_port()}")
    settings.STORAGES = live.STORAGES | stores.of(Env(prefix="HINGEBACK_"))
    Photo.objects.create(
        request=sent_back(shop), file_name="a.jpg", width=4, height=3, added_at=NOON
    )
    client = Client(raise_request_exception=False)
    client.force_login(bea)
    answer = client.get(reverse("frame-photo", args=["a.jpg"]))
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0


@pytest.mark.django_db
def test_a_disk_that_is_full_is_a_503_and_leaves_no_half_a_file(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(out, "PNG")
    out.seek(0)
    out.name = "a.png"
    before = Photo.objects.count()
    answer = Client(raise_request_exception=False).post(
        "/api/send-backs/", _filing() | {"photos": out}, headers={"Idempotency-Key": "a-full-disk"}
    )
    assert answer.status_code == 503, answer.content
    assert int(answer.headers["Retry-After"]) > 0
    assert Photo.objects.count() == before
    assert photos.store().listdir("")[1] == []


def _filing() -> dict[str, Any]:
    from tests.api.test_flows import SEND_BACK

    return dict(SEND_BACK)


def test_no_way_leads_out_of_the_folder() -> None:
    photos.store().save("kept.jpg", ContentFile(b"x"))
    for name in ("../kept.jpg", "/etc/passwd", "photos/../../secret_key"):
        assert not photos.is_there(name) or photos._own(name) == "kept.jpg"


def test_a_file_of_the_same_name_takes_the_place_of_the_first_and_is_its_owners_alone() -> None:
    store = storages["reports"]
    for text in (b"first", b"second"):
        assert store.save("a.pdf", ContentFile(text)) == "a.pdf"
    with store.open("a.pdf") as file:
        assert file.read() == b"second"
    assert Path(store.path("a.pdf")).stat().st_mode & 0o077 == 0
