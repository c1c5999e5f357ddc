"""A minute of kills: nothing that was acknowledged is lost or doubled, and nothing stays stuck."""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

from deploy.served.prepare import _postgres_bin

SECONDS = os.environ.get("HINGEBACK_TEST_FAULTS_S", "60")


@pytest.mark.service
@pytest.mark.slow
@pytest.mark.timeout(int(float(SECONDS)) + 540)
def test_what_was_acknowledged_outlives_every_kill(tmp_path: Path) -> None:
    if not (_postgres_bin() / "initdb").exists() or shutil.which("redis-server") is None:
        pytest.skip("needs PostgreSQL's and Redis's programs")
    seed = secrets.randbelow(100_000)
    command = [sys.executable, "-m", "tests.service.faults", "--seconds", SECONDS]
    command += ["--seed", str(seed), "--keep", str(tmp_path / "logs")]
    done = subprocess.run(
        command, cwd=settings.BASE_DIR, capture_output=True, text=True, check=False
    )
    print(done.stdout)
    assert done.returncode == 0, f"seed {seed}\n{done.stdout}\n{done.stderr[-3000:]}"
    assert "kills" in done.stdout


def test_a_write_that_is_lost_and_one_that_is_doubled_are_both_found() -> None:
    """The judge itself can fail."""
    from collections import Counter

    from tests.service.faults.audit import _once

    found: dict[str, list[str]] = {"lost": [], "doubled": []}
    _once(found, "filing", ["a", "b", "c"], Counter({"a": 1, "c": 2, "unasked": 1}))
    assert found == {"lost": ["filing b"], "doubled": ["filing c x2"]}
