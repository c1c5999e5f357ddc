"""Where the browser is and how it is started: no network beyond this machine, no first-run talk."""

from __future__ import annotations

import os
from pathlib import Path

PATH = Path(os.environ.get("HINGEBACK_TEST_CHROMIUM", "/usr/bin/chromium"))
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
]
PHONE = {"width": 360, "height": 740}
TABLET = {"width": 768, "height": 1024}
DESKTOP = {"width": 1280, "height": 900}
MISSING = f"No Chromium at {PATH}: set HINGEBACK_TEST_CHROMIUM to one to run the browser tests."


def is_there() -> bool:
    return PATH.is_file() and os.access(PATH, os.X_OK)


def must_be_there() -> bool:
    """On the build machine a missing browser is a failure, elsewhere a reason to skip."""
    return os.environ.get("CI", "").lower() == "true"
