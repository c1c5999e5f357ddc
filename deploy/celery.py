"""The worker application; tasks are thin and live in each room's tasks.py."""

from __future__ import annotations

import os

from celery import Celery
from celery.signals import setup_logging
from django_structlog.celery.steps import DjangoStructLogInitStep

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("hingeback")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.steps["worker"].add(DjangoStructLogInitStep)
app.autodiscover_tasks()
app.autodiscover_tasks(["deploy"])


@setup_logging.connect
def keep_django_logging(**_: object) -> None:
    """Django's logging settings are the only ones; Celery must not install its own."""
