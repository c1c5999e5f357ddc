"""Copy the database while it runs, and prove that the copy opens and is whole."""

from __future__ import annotations

import sqlite3
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection


class Command(BaseCommand):
    help = "Write a consistent copy of the database to a new file (SQLite copy or pg_dump)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", required=True, type=Path, help="a file that does not exist yet")

    def handle(self, *args: Any, to: Path, **options: Any) -> None:
        if to.exists():
            raise CommandError(f"{to} exists already; name a new file.")
        if not to.parent.is_dir():
            raise CommandError(f"There is no folder {to.parent}; make it first.")
        if connection.vendor == "sqlite":
            self._copy_sqlite(to)
        else:
            self._dump_postgresql(to)
        self.stdout.write(f"{to} {to.stat().st_size} bytes")

    def _copy_sqlite(self, to: Path) -> None:
        with connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(to)])
        copy = sqlite3.connect(to)
        try:
            verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
        finally:
            copy.close()
        if verdict != "ok":
            raise CommandError(f"The copy is damaged: {verdict}. Check the disk and try again.")

    def _dump_postgresql(self, to: Path) -> None:
        facts = connection.settings_dict
        dsn = f"host={facts['HOST']} port={facts['PORT'] or 5432} user={facts['USER']}"
        command = ["pg_dump", "--format=custom", "--file", str(to)]
        command += ["--dbname", f"{dsn} dbname={facts['NAME']}"]
        try:
            subprocess.run(  # noqa: S603
                command, check=True, env={"PGPASSWORD": facts["PASSWORD"], "PATH": "/usr/bin:/bin"}
            )
            subprocess.run(["pg_restore", "--list", str(to)], check=True, capture_output=True)  # noqa: S603, S607
        except (FileNotFoundError, subprocess.CalledProcessError) as error:
            raise CommandError(f"pg_dump did not finish: {error}.") from error
