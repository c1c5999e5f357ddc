"""The containers' file is one that compose takes, and gives nobody more than he needs."""

from __future__ import annotations

import json
from typing import Any

import pytest
import yaml
from compose_spec import PyCompose
from django.conf import settings

pytestmark = pytest.mark.pure
TEXT = (settings.BASE_DIR / "deploy" / "compose.yaml").read_text(encoding="utf-8")


def taken(text: str) -> dict[str, Any]:
    """The services of a compose file. Raises when it breaks the Compose Specification."""
    found: dict[str, Any] = yaml.safe_load(text)
    PyCompose.from_json(json.dumps(found)).validate()
    services: dict[str, Any] = found["services"]
    return services


def test_compose_takes_the_file() -> None:
    assert set(taken(TEXT)) >= {
        "database",
        "broker",
        "web",
        "letters",
        "documents",
        "beat",
        "proxy",
    }


@pytest.mark.parametrize(
    ("right", "wrong"),
    [("mem_limit: 128m", "memlimit: 128m"), ("service_healthy", "healthy"), ("5s", "five")],
)
def test_a_slip_of_the_pen_is_refused(right: str, wrong: str) -> None:
    with pytest.raises(Exception, match=r"extension|variant|duration"):
        taken(TEXT.replace(right, wrong))


@pytest.mark.parametrize("name", sorted(taken(TEXT)))
def test_every_container_is_bounded_and_gains_no_rights(name: str) -> None:
    service = taken(TEXT)[name]
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["mem_limit"]
    assert service["cpus"]
    assert service["logging"]["options"]["max-size"]
    assert ":" in service["image"]
    assert not service["image"].endswith(":latest")


def test_the_database_is_told_no_secret_of_the_pages() -> None:
    assert taken(TEXT)["database"]["env_file"] == "database.env"
    example = (settings.BASE_DIR / "deploy" / "database.env.example").read_text(encoding="utf-8")
    assert "HINGEBACK_SECRET_KEY" not in example


def test_every_queue_has_a_container_and_only_the_proxy_is_reached_from_outside() -> None:
    services = taken(TEXT)
    commands = [service.get("command", []) for service in services.values()]
    taken_by = [line[line.index("-Q") + 1] for line in commands if "-Q" in line]
    queues = sorted(queue.name for queue in settings.CELERY_TASK_QUEUES)
    assert sorted(",".join(taken_by).split(",")) == queues
    assert [name for name, service in services.items() if "ports" in service] == ["proxy"]


def test_who_stops_a_worker_waits_for_its_longest_task() -> None:
    for name in ("letters", "documents"):
        grace_s = int(taken(TEXT)[name]["stop_grace_period"].removesuffix("s"))
        assert grace_s > settings.CELERY_TASK_TIME_LIMIT
