"""The service's own settings, with one more address: the bare view to compare with."""

from __future__ import annotations

from deploy.settings import *  # noqa: F403
from deploy.settings import DATABASES

ROOT_URLCONF = "tests.benchmarks.urls"

if DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3":
    # A served installation keeps its connections open, so a measured one does too.
    DATABASES["default"]["OPTIONS"]["pool"] = True
