"""What the files of a month are called: by month and workshop, safe in any file system."""

from __future__ import annotations

from django.utils.text import slugify

from inventory.months.queries.recovered import Report


def stem(report: Report) -> str:
    """Return for example "recovered-material-2026-10-tidewrack-frames"."""
    workshop = slugify(report.workshop)[:60] or "workshop"
    return f"recovered-material-{report.label}-{workshop}"
