"""Behind the HTTPS proxy of the workshop's own network: hosts, cookies, redirects, trust."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from deploy import shop as processes

ROOT = Path(__file__).resolve().parents[2]
NAME = "192.168.1.20"
ASKED = """
import json
import django
django.setup()
from django.test import Client
client, outside = Client(), Client(enforce_csrf_checks=True)
plain = client.get("/enter/", headers={"host": "127.0.0.1:8001"})
alive = client.get("/alive/", headers={"host": "127.0.0.1:8001"})
proxied = {"host": "192.168.1.20:8444", "x-forwarded-proto": "https"}
page = client.get("/enter/", headers=proxied)
stranger = client.get("/alive/", headers=proxied | {"host": "192.168.1.99"})
cookie = page.cookies["__Host-csrf-8444"]
form = {"csrfmiddlewaretoken": cookie.value, "username": "a", "password": "b"}
outside.cookies["__Host-csrf-8444"] = cookie.value
def sent(origin):
    return outside.post("/enter/", form, headers=proxied | {"origin": origin}).status_code
found = [plain.status_code, plain.get("Location"), alive.status_code, page.status_code]
found += [bool(cookie["secure"]), cookie["path"], "Strict-Transport-Security" in page.headers]
found += [stranger.status_code, sent("https://192.168.1.20:8444"), sent("https://a.example.org")]
print(json.dumps(found))
"""


def test_the_proxied_workshop_is_secure_and_answers_to_its_own_name_alone(
    migrated: Path, tmp_path: Path
) -> None:
    env = {name: text for name, text in os.environ.items() if not name.startswith("HINGEBACK_")}
    env |= {
        "HINGEBACK_BASE_URL": f"https://{NAME}:8444",
        "HINGEBACK_TRUSTED_PROXIES": "1",
        "HINGEBACK_DATA_DIR": str(tmp_path),
        "HINGEBACK_DATABASE_URL": f"sqlite:///{tmp_path}/empty.sqlite3",
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }
    shutil.copy(migrated, tmp_path / "empty.sqlite3")
    asked = [sys.executable, "-W", "ignore", "-c", ASKED]
    done = subprocess.run(asked, cwd=ROOT, env=env, check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    plain, to, alive, page, is_secure, path, hsts, stranger, own, evil = json.loads(
        done.stdout.splitlines()[-1]
    )
    assert (plain, to) == (301, f"https://{NAME}:8444/enter/")
    assert (alive, page, is_secure, path) == (200, 200, True, "/")
    # With an authority of one's own, a browser that lost the certificate would be shut out.
    assert not hsts
    assert stranger == 400
    assert (own, evil) == (200, 403)


@pytest.mark.skipif(shutil.which("caddy") is None, reason="Caddy is not installed")
def test_the_proxys_configuration_is_taken_by_it(tmp_path: Path) -> None:
    words, env = processes.proxy(NAME, 8444, 8001)
    validate = [words[0], "validate", *words[2:]]
    env |= {"WORKSHOP_DIR": str(tmp_path), "PATH": os.environ["PATH"]}
    env |= {"XDG_CONFIG_HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)}
    done = subprocess.run(
        validate, env=env, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.django_db
def test_the_set_up_shows_the_address_its_code_and_the_certificate(
    olga: User, settings: Any, tmp_path: Path
) -> None:
    client = Client()
    client.force_login(olga)
    alone = client.get("/owner/setup/").content.decode()
    assert "--network" in alone
    assert client.get("/authority.crt").status_code == 404
    settings.BASE_URL, settings.NETWORK_DIR = f"https://{NAME}:8444", tmp_path
    folder = tmp_path / "pki" / "authorities" / "local"
    folder.mkdir(parents=True)
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1"]
    made += ["-nodes", "-subj", "/CN=Reedbed", "-keyout", str(tmp_path / "key")]
    subprocess.run([*made, "-out", str(folder / "root.crt")], check=True, capture_output=True)
    told = ["openssl", "x509", "-in", str(folder / "root.crt"), "-noout", "-fingerprint", "-sha256"]
    fingerprint = subprocess.run(told, check=True, capture_output=True, text=True).stdout
    page = client.get("/owner/setup/").content.decode()
    assert f"https://{NAME}:8444/enter/" in page
    assert "<svg" in page.split('class="qr"')[1]
    assert fingerprint.strip().partition("=")[2] in page
    answer = Client().get("/authority.crt")
    assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    assert answer.content == (folder / "root.crt").read_bytes()


def test_a_second_shop_on_one_folder_is_told_so_and_the_first_goes_on(tmp_path: Path) -> None:
    with processes.alone(tmp_path), pytest.raises(processes.InUse, match="running on"):
        processes.alone(tmp_path)
    processes.alone(tmp_path).close()


def test_a_data_folder_that_is_a_file_or_cannot_be_made_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file" / "data", Path("/proc/nowhere")):
        done = subprocess.run(
            [sys.executable, "-c", "import deploy.settings"],
            cwd=ROOT,
            env={"PATH": os.environ["PATH"], "HINGEBACK_DATA_DIR": str(folder)},
            capture_output=True,
            text=True,
            check=False,
        )
        last = done.stderr.strip().splitlines()[-1]
        assert "ImproperlyConfigured" in last
        assert "cannot be made" in last
    with pytest.raises(processes.InUse, match="cannot be written"):
        processes.alone(tmp_path / "file")
