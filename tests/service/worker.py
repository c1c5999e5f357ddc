"""A real Celery worker on the test database, started and ended by the test that wants it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60


def database_url() -> str:
    """The test database that this process writes to."""
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    password = f":{facts['PASSWORD']}" if facts["PASSWORD"] else ""
    return (
        f"postgresql://{facts['USER']}{password}@{facts['HOST']}:{facts['PORT'] or 5432}"
        f"/{facts['NAME']}"
    )


def environment(tmp_path: Path, broker_url: str, sweep_s: int) -> dict[str, str]:
    return {
        **os.environ,
        "HINGEBACK_DATABASE_URL": database_url(),
        "HINGEBACK_BROKER_URL": broker_url,
        "HINGEBACK_DATA_DIR": str(tmp_path),
        "HINGEBACK_SECRET_KEY": settings.SECRET_KEY,
        "HINGEBACK_SWEEP_S": str(sweep_s),
        "HINGEBACK_EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend",
        "HINGEBACK_EMAIL_FILE_PATH": str(tmp_path / "mail"),
    }


@contextmanager
def running(
    tmp_path: Path, broker_url: str, *, sweep_s: int = 2
) -> Iterator[subprocess.Popen[bytes]]:
    command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--beat"]
    command += ["--concurrency", "1", "--without-gossip", "--without-mingle", "--loglevel", "INFO"]
    with (tmp_path / "worker.log").open("wb") as log:
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=environment(tmp_path, broker_url, sweep_s),
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        try:
            yield process
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(5)


def wait_for(seen: Callable[[], bool], log: Path) -> None:
    """Look again until it holds; on giving up, say what the worker said."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        if seen():
            return
        time.sleep(0.3)
    raise AssertionError(
        f"nothing after {PATIENCE_S} s; the worker said:\n{log.read_text()[-3000:]}"
    )
