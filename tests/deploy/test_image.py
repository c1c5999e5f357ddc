"""What holds secrets or a workshop's data goes neither into the repository nor into the image."""

from __future__ import annotations

import re
import subprocess

import pytest
from django.conf import settings

PRIVATE = (
    "deploy/database.env",
    "served/secret_key",
    "deploy/served.env",
    "var/hingeback.sqlite3",
    "own/secret_key",
)


@pytest.mark.parametrize("path", PRIVATE)
def test_private_files_are_ignored_by_git_and_left_out_of_the_image(path: str) -> None:
    ignored = ["git", "check-ignore", "--quiet", "--no-index", path]
    assert subprocess.run(ignored, cwd=settings.BASE_DIR, check=False).returncode == 0
    left_out = (settings.BASE_DIR / ".dockerignore").read_text().split()
    assert path in left_out or path.partition("/")[0] in left_out


def test_every_setting_of_the_served_example_is_one_that_is_read() -> None:
    """`postgres` itself reads the other names."""
    example = (settings.BASE_DIR / "deploy" / "served.env.example").read_text()
    read = (settings.BASE_DIR / "deploy" / "settings.py").read_text()
    named = re.findall(r"^HINGEBACK_(\w+)=", example, re.MULTILINE)
    assert "SECRET_KEY" in named
    assert [name for name in named if f'"{name}"' not in read] == []


def test_the_image_brings_what_would_else_be_made_at_each_start() -> None:
    text = (settings.BASE_DIR / "deploy" / "Dockerfile").read_text()
    assert "DONTWRITEBYTECODE" not in text
    assert text.index("COPY . .") < text.index("compileall") < text.index("USER hingeback")
    assert "collectstatic" in text
    compose = (settings.BASE_DIR / "deploy" / "compose.yaml").read_text()
    assert "collectstatic" not in compose
