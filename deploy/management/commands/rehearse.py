"""Play the whole main job over HTTP against a running service, as four people."""

from __future__ import annotations

import re
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy.rehearsal.story import Story
from deploy.rehearsal.visitor import Stumble


class Command(BaseCommand):
    help = "Play the main job over HTTP as customer, bench, accountant and owner."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--url", required=True, help="where the service answers")
        parser.add_argument(
            "--logins",
            type=Path,
            default=settings.DATA_DIR / "demo_logins.txt",
            help="a file with lines `role name password`: two bench, an accountant, an owner",
        )

    def handle(self, *args: Any, url: str, logins: Path, **options: Any) -> None:
        zone = timezone.get_default_timezone()
        story = Story(url, read_logins(logins), zone, self.stdout.write)
        try:
            steps = story.tell()
        except Stumble as stumble:
            raise CommandError(f"Did not hold after step {story.steps}: {stumble}") from stumble
        self.stdout.write(f"All {steps} steps held.")


def read_logins(path: Path) -> dict[str, tuple[str, str]]:
    """Name and password by the part each plays. The second bench hand is `second`."""
    if not path.exists():
        raise CommandError(f"There is no {path}; name the logins with --logins FILE.")
    found: dict[str, tuple[str, str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        match = re.fullmatch(r"\s*(bench|accountant|owner)\s+(\S+)\s+(\S+)\s*", line)
        if match:
            role, name, password = match.groups()
            part = "second" if role == "bench" and "bench" in found else role
            found[part] = (name, password)
    missing = {"bench", "second", "accountant", "owner"} - set(found)
    if missing:
        raise CommandError(f"{path} lacks logins for: {', '.join(sorted(missing))}.")
    return found
