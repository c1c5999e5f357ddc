"""Measures filing, the bench page and the month report on this machine, in one run.

    python -m tests.benchmarks.measure
    python -m tests.benchmarks.measure --database postgresql://postgres@127.0.0.1:5432/test

Data lives in a temporary folder; on PostgreSQL in a database of its own on the server that is
named, dropped at the end. Other work on the machine moves every time: read the ratios.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit


@contextmanager
def own_database(server_url: str) -> Iterator[str]:
    """A new database beside the one named, dropped again."""
    import psycopg
    from psycopg import sql

    name = f"hingeback_benchmark_{os.getpid()}"
    with psycopg.connect(server_url, autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    try:
        yield urlunsplit(urlsplit(server_url)._replace(path=f"/{name}"))
    finally:
        from django.db import connections

        connections["default"].close()
        if hasattr(connections["default"], "close_pool"):
            connections["default"].close_pool()
        with psycopg.connect(server_url, autocommit=True) as server:
            server.execute(sql.SQL("DROP DATABASE {}").format(sql.Identifier(name)))


@contextmanager
def own_folder() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp(prefix="hingeback-benchmark-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def machine() -> str:
    """The size of the machine, and how busy it is, in one sentence."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (
        f"{os.cpu_count()} cores, {memory:.0f} GiB, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}; load {os.getloadavg()[0]:.1f} at the start"
    )


def run(folder: Path, database_url: str) -> None:
    os.environ["HINGEBACK_DATA_DIR"] = str(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.benchmarks.settings"
    os.environ["HINGEBACK_TRUSTED_PROXIES"] = "1"
    os.environ["HINGEBACK_BROKER_URL"] = "filesystem://localhost//"
    if database_url:
        os.environ["HINGEBACK_DATABASE_URL"] = database_url
    else:
        os.environ.pop("HINGEBACK_DATABASE_URL", None)

    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    from tests.benchmarks import workload

    print(f"{machine()}; {connection.vendor}", flush=True)
    print(workload.measure(folder))


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--database", default="", help="a PostgreSQL server's URL (SQLite without)")
    data = parser.parse_args()
    with own_folder() as folder:
        if not data.database:
            run(folder, "")
            return
        with own_database(data.database) as url:
            run(folder, url)


if __name__ == "__main__":
    sys.exit(main())
