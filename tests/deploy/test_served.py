"""A workshop served from one machine: what is started, as whom, and what the files say."""

from __future__ import annotations

import shlex
from configparser import RawConfigParser
from dataclasses import replace
from pathlib import Path

import pytest

from deploy.served import prepare, programs
from deploy.served.programs import Site

pytestmark = pytest.mark.pure
OURS = "postgresql://hingeback:pw@127.0.0.1:5433/hingeback"


@pytest.fixture
def site(tmp_path: Path) -> Site:
    settings = {
        "HINGEBACK_DATABASE_URL": OURS,
        "HINGEBACK_REDIS_URL": "redis://:hush@localhost:6380/0",
        "HINGEBACK_ALLOWED_HOSTS": "return.example.org, 192.0.2.7",
    }
    (tmp_path / "run").mkdir()
    return Site(settings, tmp_path, 8443, "shop", Path("/usr/lib/postgresql/15/bin"))


def sections(site: Site) -> RawConfigParser:
    conf = RawConfigParser()
    conf.read(programs.write(site))
    return conf


def test_every_process_is_started_again_and_is_the_users_but_the_proxy(site: Site) -> None:
    conf = sections(site)
    names = [name.removeprefix("program:") for name in conf.sections() if "program:" in name]
    assert names == ["database", "redis", "web", "letters", "documents", "beat", "proxy"]
    for name in names:
        assert conf[f"program:{name}"]["autorestart"] == "true"
        assert conf[f"program:{name}"].get("user") == (None if name == "proxy" else "shop")


def test_commands_come_back_whole_from_the_supervisors_file(site: Site) -> None:
    conf = sections(site)
    for name, command in programs.commands(site).items():
        written = conf[f"program:{name}"]["command"].replace("%%", "%")
        assert shlex.split(written) == command


def test_every_queue_has_a_worker(site: Site) -> None:
    taken = [
        queue
        for command in programs.commands(site).values()
        if "-Q" in command
        for queue in command[command.index("-Q") + 1].split(",")
    ]
    assert sorted(taken) == ["documents", "figures", "letters"]


def test_another_machines_database_and_redis_are_left_to_it(site: Site) -> None:
    away = {
        **site.settings,
        "HINGEBACK_DATABASE_URL": OURS.replace("127.0.0.1", "db.example.org"),
        "HINGEBACK_REDIS_URL": "redis://cache.example.org:6379/0",
    }
    names = programs.commands(replace(site, settings=away))
    assert not {"database", "redis"} & set(names)


def test_the_proxy_knows_our_names_alone_and_trusts_no_visitor(site: Site) -> None:
    programs.write(site)
    conf = "".join((site.run / name).read_text() for name in ("nginx.conf", "site.conf"))
    assert "server_name return.example.org 192.0.2.7;" in conf
    assert "X-Forwarded-For $remote_addr;" in conf
    assert "user shop;" in conf
    assert not programs._BLANK.search(conf)


def test_settings_are_read_as_containers_read_them(tmp_path: Path) -> None:
    file = tmp_path / "served.env"
    file.write_text("# a remark\n\nA=x y=z\nB=\nC = 'q' $HOME\n")
    assert prepare.read(file) == {"A": "x y=z", "B": "", "C": "'q' $HOME"}


def test_a_first_file_has_secrets_of_its_own_and_says_what_is_left(tmp_path: Path) -> None:
    found = []
    for name in ("one", "two"):
        with pytest.raises(SystemExit, match="Type your address"):
            prepare._begin_settings(tmp_path / name)
        found.append(prepare.read(tmp_path / name))
        assert (tmp_path / name).stat().st_mode & 0o077 == 0
    for secret in ("HINGEBACK_SECRET_KEY", "HINGEBACK_DATABASE_URL"):
        assert found[0][secret] != found[1][secret]
    assert found[0]["HINGEBACK_SERVED"] == "1"
    assert len(found[0]["HINGEBACK_SECRET_KEY"]) >= 40


def test_root_serves_nobody_where_its_user_may_not_run_python(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "served.env"
    lines = {
        "HINGEBACK_SERVED": "1",
        "HINGEBACK_DATA_DIR": str(tmp_path),
        "HINGEBACK_DATABASE_URL": OURS,
        "HINGEBACK_REDIS_URL": "redis://127.0.0.1:6380/0",
        "HINGEBACK_ALLOWED_HOSTS": "return.example.org",
    }
    file.write_text("".join(f"{name}={value}\n" for name, value in lines.items()))
    monkeypatch.setattr(prepare, "_user", lambda _data: "shop")
    monkeypatch.setattr(prepare, "_may_run", lambda _user: False)
    with pytest.raises(SystemExit, match="root serves nobody"):
        prepare._site(file, 8443)
    monkeypatch.setattr(prepare, "_may_run", lambda _user: True)
    assert prepare._site(file, 8443).user == "shop"
