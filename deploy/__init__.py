"""Wiring: settings, addresses, the web and worker processes. Nothing in the rooms imports it."""

from __future__ import annotations

from deploy.celery import app as celery_app

__all__ = ["celery_app"]
