"""What several tests of pages share: the owner signed in, and a clock that stands."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client


@pytest.fixture
def owner(client: Client, olga: User) -> Client:
    client.force_login(olga)
    return client


@pytest.fixture
def still_clock(request: pytest.FixtureRequest) -> Iterator[None]:
    """The clock stands at the `NOW` of the test's module."""
    with time_machine.travel(request.module.NOW, tick=False):
        yield
