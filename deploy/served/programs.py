"""The processes of a served workshop, and the files that nginx and supervisord read."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import SplitResult, urlsplit

HERE: Final = Path(__file__).resolve().parent
ROOT: Final = HERE.parents[1]
# A task may take five minutes; who stops the service waits for it.
_WORKER_GRACE_S: Final = 310
_LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
# Of this prefix alone: nginx has variables of its own.
_BLANK: Final = re.compile(r"\$\{(HB_[A-Z_]+)\}")


@dataclass(frozen=True)
class Site:
    """Where one served workshop lives, and who runs it; None: whoever starts it."""

    settings: dict[str, str]
    data: Path
    port: int
    user: str | None
    postgres_bin: Path

    @property
    def run(self) -> Path:
        return self.data / "run"

    @property
    def cluster(self) -> Path:
        return self.data / "postgres"

    @property
    def sockets(self) -> Path:
        """The database's own folder for its socket: who may enter it needs no password."""
        return self.data / "postgres-run"

    @property
    def database(self) -> SplitResult:
        return urlsplit(self.settings["HINGEBACK_DATABASE_URL"])

    @property
    def redis(self) -> SplitResult:
        return urlsplit(self.settings["HINGEBACK_REDIS_URL"])

    @property
    def has_own_database(self) -> bool:
        """Whether the settings name this machine; another's database is left to its keeper."""
        return self.database.hostname in _LOOPBACK

    @property
    def has_own_redis(self) -> bool:
        return self.redis.hostname in _LOOPBACK

    @property
    def certificate(self) -> tuple[Path, Path]:
        """The certificate and its key: those of the settings, else made by our own authority."""
        given = self.settings.get("HINGEBACK_CERTIFICATE", "")
        if given:
            return Path(given), Path(self.settings["HINGEBACK_CERTIFICATE_KEY"])
        return self.data / "tls" / "site.pem", self.data / "tls" / "site.key"


def commands(site: Site) -> dict[str, list[str]]:
    """The command of each process by name, in the order in which they start."""
    celery = [sys.executable, "-m", "celery", "--quiet", "-A", "deploy"]
    # Both flags keep a worker well when Redis is started anew.
    worker = [*celery, "worker", "--without-gossip", "--without-mingle", "--loglevel", "WARNING"]
    # Threads behind a proxy that buffers: a slow phone holds a line of nginx, and no process.
    web = [sys.executable, "-m", "gunicorn", "deploy.wsgi:application"]
    web += ["--bind", f"unix:{site.run}/web.sock", "--workers", "3", "--threads", "4"]
    web += ["--timeout", "60", "--log-level", "warning", "--no-control-socket"]
    web += ["--max-requests", "2000", "--max-requests-jitter", "200"]
    found = {
        "database": _postgres(site),
        "redis": _redis(site),
        "web": web,
        "letters": [*worker, "-Q", "letters", "-n", "letters@%h", "--concurrency", "1"],
        "documents": [
            *[*worker, "-Q", "documents,figures", "-n", "documents@%h"],
            *["--concurrency", "2"],
        ],
        "beat": [*celery, "beat", "--pidfile", "", "--loglevel", "WARNING"],
        "proxy": ["nginx", "-e", "stderr", "-c", f"{site.run}/nginx.conf"],
    }
    return {name: command for name, command in found.items() if command}


def _postgres(site: Site) -> list[str]:
    if not site.has_own_database:
        return []
    port = str(site.database.port or 5432)
    command = [str(site.postgres_bin / "postgres"), "-D", str(site.cluster), "-p", port]
    return [*command, "-k", str(site.sockets), "-c", "listen_addresses=127.0.0.1"]


def _redis(site: Site) -> list[str]:
    """No snapshot and no log of writes: the outbox in the database is the record."""
    if not site.has_own_redis:
        return []
    command = ["redis-server", "--port", str(site.redis.port or 6379), "--bind", "127.0.0.1"]
    command += ["--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction"]
    command += ["--dir", str(site.run)]
    if site.redis.password:
        command += ["--requirepass", site.redis.password]
    return command


def write(site: Site) -> Path:
    """Write both files into the workshop's run folder. Returns that of supervisord."""
    certificate, key = site.certificate
    hosts = [host.strip() for host in site.settings["HINGEBACK_ALLOWED_HOSTS"].split(",")]
    blanks = {
        "HB_RUN": str(site.run),
        "HB_PORT": str(site.port),
        "HB_HOSTS": " ".join(hosts),
        "HB_CERTIFICATE": str(certificate),
        "HB_KEY": str(key),
        "HB_WEB": f"unix:{site.run}/web.sock",
        "HB_USER": f"user {site.user};" if site.user else "",
        "HB_AS_ROOT": "user=root" if site.user else "",
    }
    _fill("nginx.conf", site.run / "nginx.conf", blanks)
    _fill("site.conf.template", site.run / "site.conf", blanks)
    target = site.run / "supervisord.conf"
    _fill("supervisord.conf", target, blanks)
    with target.open("a", encoding="utf-8") as conf:
        for order, (name, command) in enumerate(commands(site).items(), start=1):
            conf.write(_program(site, name, command, order))
    return target


def _fill(name: str, target: Path, blanks: dict[str, str]) -> None:
    text = (HERE / name).read_text(encoding="utf-8")
    filled = _BLANK.sub(lambda blank: blanks[blank.group(1)], text)
    target.write_text(filled, encoding="utf-8")


def _program(site: Site, name: str, command: list[str], order: int) -> str:
    """One section. supervisord takes `%` for a blank of its own, and splits words as a shell."""
    words = " ".join(_quoted(word) for word in command).replace("%", "%%")
    lines = [
        f"\n[program:{name}]",
        f"command={words}",
        f"directory={ROOT}",
        f"priority={order}",
        "autorestart=true",
        # Never given up: what cannot start now may when the disk has room again.
        "startretries=1000000",
        "startsecs=1",
        f"stopwaitsecs={_WORKER_GRACE_S if name in ('letters', 'documents') else 30}",
        # PostgreSQL's "fast" shutdown: end what runs, do not wait for idle clients.
        f"stopsignal={'INT' if name == 'database' else 'TERM'}",
        "killasgroup=true",
        "stdout_logfile=/dev/stderr",
        "stdout_logfile_maxbytes=0",
        "stderr_logfile=/dev/stderr",
        "stderr_logfile_maxbytes=0",
    ]
    # nginx alone begins as root, for a port below 1024; its workers are the user's.
    if site.user and name != "proxy":
        lines.append(f"user={site.user}")
    return "\n".join(lines) + "\n"


def _quoted(word: str) -> str:
    return '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'
