"""What a month's files are called, and the language that they are written in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.utils import translation
from django.utils.text import slugify

from inventory.months.queries.recovered import Report


@contextmanager
def workshop_language() -> Iterator[str]:
    """Switch to the workshop's language, so that the same file comes out for everybody."""
    with translation.override(settings.LANGUAGE_CODE):
        yield settings.LANGUAGE_CODE


def stem(report: Report) -> str:
    """Return for example "recovered-material-2026-10-tidewrack-frames"."""
    workshop = slugify(report.workshop)[:60] or "workshop"
    return f"recovered-material-{report.label}-{workshop}"
