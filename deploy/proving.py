"""Proving an archive: it is restored aside, and every figure in it is derived again."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings

from deploy import archive, databases
from deploy.databases import NotCopied

_LIMIT_S = 3000


class Unproved(Exception):
    """The archive was written, and what is in it does not hold, or could not be looked at."""


def prove(path: Path, beside: Path) -> list[str]:
    """The lines of `checkledger` over what the archive holds. Raises Unproved when one fails.

    `beside` is the folder for what is unpacked: whoever may read the archive may read it.
    """
    with TemporaryDirectory(prefix=".proof-", dir=beside) as aside:
        folder = Path(aside)
        try:
            made = archive.unpack(path, folder)
            if made.engine != databases.engine():
                raise NotCopied(f"It is a copy of {made.engine}; this is {databases.engine()}.")
            with databases.aside(folder / archive.DATABASE[made.engine]) as address:
                # A process of its own, with other settings: this one keeps its connection to the
                # real database.
                return checked({"HINGEBACK_DATABASE_URL": address, "HINGEBACK_DATA_DIR": aside})
        except NotCopied as error:
            raise Unproved(str(error)) from error


# One process for both: to start it and read all addresses takes longer than either.
_BROUGHT_UP_AND_CHECKED = """
import django
from django.core.management import call_command
django.setup()
call_command("migrate", verbosity=0, skip_checks=False)
call_command("checkledger", verbosity=0, skip_checks=False)
"""


def checked(env: dict[str, str]) -> list[str]:
    """Bring a restored database to this version and check it, in a process of its own.

    Returns the lines of `checkledger`. Raises Unproved with those that failed.
    """
    # Past manage.py, which would ask whose workshop this is.
    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", _BROUGHT_UP_AND_CHECKED],
        cwd=settings.BASE_DIR,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "deploy.settings", **env},
        capture_output=True,
        text=True,
        timeout=_LIMIT_S,
        check=False,
    )
    if done.returncode:
        data = (done.stdout + done.stderr).strip().splitlines()
        # The failed checks say what is wrong; without any, the last line is the error.
        wrong = [line for line in data if line.startswith("FAIL")] or data[-1:]
        raise Unproved(f"the check of the copy: {'; '.join(wrong)}")
    return done.stdout.splitlines()
