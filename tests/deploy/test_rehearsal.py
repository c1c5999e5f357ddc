"""The rehearsal of the whole main job, against live pages and a real worker."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from deploy.demo import cast, masters
from deploy.management.commands.rehearse import read_logins
from deploy.rehearsal.story import Story
from deploy.rehearsal.visitor import Stumble, Visitor
from inventory.models import Part
from inventory.parts import rules as stock
from tests import makers
from tests.service.worker import running


@pytest.fixture
def furnished(tmp_path: Path) -> Path:
    """The demo's masters and people without its story; returns the logins file."""
    now = timezone.now()
    masters.furnish(today=now.date())
    for part in Part.objects.all():
        stock.receive(key=makers.key(), part=part, pieces=50, cost_minor=0, at=now)
    logins = tmp_path / "logins.txt"
    cast.hire(now)
    cast.give_passwords(logins)
    return logins


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_whole_main_job_holds_over_http(
    transactional_db: None, furnished: Path, live_server: Any, tmp_path: Path, settings: Any
) -> None:
    # Web and worker look into one folder.
    settings.DATA_DIR, settings.MEDIA_ROOT = tmp_path, tmp_path / "media"
    data: list[str] = []
    zone = timezone.get_default_timezone()
    with running(tmp_path, "filesystem://localhost//"):
        story = Story(live_server.url, read_logins(furnished), zone, data.append)
        steps = story.tell()
    assert steps == len(data) >= 23
    for words in ("by material", "in at the counter", "files two frames", "a partner's box brings"):
        assert any(words in line for line in data), words
    assert any("moved by 39020 mg exactly" in line for line in data)


def test_address_where_nobody_answers_is_told_plainly() -> None:
    with pytest.raises(Stumble, match="does not answer"):
        Visitor("customer", "http://127.0.0.1:9").open("/")
