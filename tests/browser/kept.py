"""Keeps counts of the browser tests in `HINGEBACK_TEST_SEEN`, and pictures for somebody to look at.

Pictures are for eyes and prove nothing by themselves, at the cost of a check each: they are taken
where `HINGEBACK_TEST_PICTURES` names a folder, which then gets the counts too.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from playwright.sync_api import Page

_PICTURES = os.environ.get("HINGEBACK_TEST_PICTURES", "")
_FOLDER = _PICTURES or os.environ.get("HINGEBACK_TEST_SEEN", "")


def picture(page: Page, name: str) -> None:
    """The whole page as it stands, under a name made fit for a file."""
    if _PICTURES:
        path = _path(name).with_suffix(".png")
        page.screenshot(path=path, full_page=True)


def lines(name: str, rows: list[str]) -> None:
    """Rows of text beside the pictures."""
    if _FOLDER:
        _path(name).with_suffix(".txt").write_text("\n".join(rows) + "\n", encoding="utf-8")


def _path(name: str) -> Path:
    folder = Path(_FOLDER)
    folder.mkdir(parents=True, exist_ok=True)
    return folder / re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
