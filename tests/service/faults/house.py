"""The processes of a served workshop on free ports of this machine, each killed and started anew.

The commands are those that `deploy/served.sh` starts; what is missing is nginx, whose part the
clients play. Nothing but what was started here is ever killed.
"""

from __future__ import annotations

import os
import pwd
import random
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from deploy.served import programs
from deploy.served.prepare import _postgres_bin
from deploy.served.programs import ROOT, Site

HOST = "faults.example.org"
DISK_BYTES = 700 * 2**20
_LOOK_EVERY_S = 0.1


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Program:
    """One process that is started again whenever it is gone, after a pause."""

    name: str
    command: list[str]
    env: dict[str, str]
    user: str | None
    log: Path
    process: subprocess.Popen[bytes] | None = None
    paused_until: float = 0.0
    starts: int = 0

    def start(self) -> None:
        out: IO[bytes] = self.log.open("ab")
        with out:
            self.process = subprocess.Popen(
                self.command,
                env=self.env,
                cwd=ROOT if self.user is None else "/",
                stdout=out,
                stderr=out,
                start_new_session=True,
                **_as(self.user),
            )
        self.starts += 1

    def is_there(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def children(self) -> list[int]:
        if self.process is None:
            return []
        path = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        try:
            return [int(pid) for pid in path.read_text().split()]
        except OSError:
            return []

    def kill(self, pause_s: float) -> None:
        """SIGKILL to the process and to all that it started, as when its memory runs out."""
        self.paused_until = time.monotonic() + pause_s
        pids = [*self.children(), *([self.process.pid] if self.process else [])]
        for pid in reversed(pids):
            _signal(pid, signal.SIGKILL)

    def kill_one(self, draw: random.Random) -> bool:
        """SIGKILL to one of the processes that this one started. Returns whether there was one."""
        found = self.children()
        return bool(found) and _signal(draw.choice(found), signal.SIGKILL)


def _signal(pid: int, number: signal.Signals) -> bool:
    try:
        os.kill(pid, number)
    except ProcessLookupError:
        return False
    return True


def _as(user: str | None) -> dict[str, Any]:
    return {"user": user, "group": pwd.getpwnam(user).pw_gid, "extra_groups": []} if user else {}


@dataclass
class House:
    """A workshop's processes, its disk and its settings, all below one folder."""

    base: Path
    smtp_port: int
    disk_is_own: bool = False
    programs: dict[str, Program] = field(default_factory=dict)
    _over: threading.Event = field(default_factory=threading.Event)
    _keeper: threading.Thread | None = None

    def __post_init__(self) -> None:
        self.port = free_port()
        self.data = self.base / "data"
        # PostgreSQL refuses root; the distribution's packages bring a user of its own.
        self.database_user = "postgres" if os.geteuid() == 0 else None
        database, redis = free_port(), free_port()
        self.settings = {
            "HINGEBACK_SERVED": "1",
            "HINGEBACK_SECRET_KEY": secrets.token_urlsafe(48),
            "HINGEBACK_BASE_URL": f"https://{HOST}",
            "HINGEBACK_ALLOWED_HOSTS": HOST,
            "HINGEBACK_TRUSTED_PROXIES": "1",
            "HINGEBACK_DATABASE_URL": f"postgresql://postgres@127.0.0.1:{database}/faults",
            "HINGEBACK_REDIS_URL": f"redis://127.0.0.1:{redis}/0",
            "HINGEBACK_DATA_DIR": str(self.data),
            "HINGEBACK_HASHED_STATIC": "0",
            "HINGEBACK_EMAIL_HOST": "127.0.0.1",
            "HINGEBACK_EMAIL_PORT": str(self.smtp_port),
            "HINGEBACK_FROM_EMAIL": "workshop@example.org",
            # One address stands for all customers here.
            "HINGEBACK_FILE_RATE": "1000000/hour",
            "HINGEBACK_SWEEP_S": "5",
        }
        bin_ = _postgres_bin()
        self.site = Site(self.settings, self.data, self.port, None, bin_)

    @property
    def env(self) -> dict[str, str]:
        kept = {name: os.environ[name] for name in ("PATH", "LANG", "TZ") if name in os.environ}
        return {
            **kept,
            **self.settings,
            "HOME": str(self.base),
            "PYTHONUNBUFFERED": "1",
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "PROMETHEUS_MULTIPROC_DIR": str(self.data / "metrics"),
        }

    def build(self) -> None:
        """Make the disk, the database cluster and its tables; then start everything."""
        self.base.mkdir(parents=True, exist_ok=True)
        self.base.chmod(0o711)
        self.data.mkdir(exist_ok=True)
        self.disk_is_own = _own_disk(self.data)
        self.data.chmod(0o711)
        for folder in (self.site.run, self.site.sockets, self.site.cluster, self.data / "metrics"):
            folder.mkdir(mode=0o700, exist_ok=True)
        for folder in (self.site.sockets, self.site.cluster):
            if self.database_user:
                shutil.chown(folder, self.database_user)
        initdb = [str(self.site.postgres_bin / "initdb"), "-D", str(self.site.cluster)]
        initdb += ["-U", "postgres", "-A", "trust", "--encoding", "UTF8", "--locale", "C.UTF-8"]
        self._do(initdb, self.database_user)
        for name, command in programs.commands(self.site).items():
            if name != "proxy":
                self._add(name, command)
        self._run("database")
        self._wait("the database", lambda: self._psql("SELECT 1", "postgres"))
        self._psql("CREATE DATABASE faults", "postgres")
        self.manage("migrate", "--verbosity", "0")

    def _add(self, name: str, command: list[str]) -> None:
        changed = list(command)
        if name == "web":
            changed[changed.index("--bind") + 1] = f"127.0.0.1:{self.port}"
            # Two of the three processes: the machine that this runs on has other work besides.
            changed[changed.index("--workers") + 1] = "2"
        user = self.database_user if name == "database" else None
        log = self.base / f"{name}.log"
        self.programs[name] = Program(name, changed, self.env, user, log)

    def _run(self, name: str) -> None:
        self.programs[name].start()

    def start(self) -> None:
        for program in self.programs.values():
            if not program.is_there():
                program.start()
        self._keeper = threading.Thread(target=self._keep, daemon=True)
        self._keeper.start()
        self._wait("the pages", lambda: _answers(self.port))

    def _keep(self) -> None:
        """What supervisord does: what is gone is started again, and never given up."""
        while not self._over.wait(_LOOK_EVERY_S):
            for program in self.programs.values():
                if not program.is_there() and time.monotonic() >= program.paused_until:
                    try:
                        program.start()
                    except OSError:  # a full disk has no room for the log either
                        program.paused_until = time.monotonic() + 1

    def stop(self) -> None:
        self._over.set()
        if self._keeper:
            self._keeper.join()
        for program in reversed(list(self.programs.values())):
            program.kill(0)
            if program.process:
                program.process.wait(30)
        if self.disk_is_own:
            # Whatever still ends there gives it up by itself.
            subprocess.run(["umount", "--lazy", str(self.data)], check=False)

    def manage(self, *words: str) -> str:
        return self._do([sys.executable, "-m", "django", *words], None)

    def python(self, *words: str) -> str:
        return self._do([sys.executable, "-m", *words], None)

    def wipe_redis(self) -> None:
        import redis

        redis.Redis.from_url(self.settings["HINGEBACK_REDIS_URL"], socket_timeout=2).flushall()

    def fill_disk(self) -> Path:
        """Take all room that is left on the workshop's own disk."""
        ballast = self.data / "ballast"
        with ballast.open("wb", buffering=0) as out:
            try:
                while out.write(b"\0" * 2**20):
                    pass
            except OSError:
                pass
        return ballast

    def _psql(self, text: str, database: str) -> bool:
        port = str(self.site.database.port)
        command = [str(self.site.postgres_bin / "psql"), "-qAt", "-h", "127.0.0.1", "-p", port]
        command += ["-U", "postgres", "-c", text, database]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    def _do(self, command: list[str], user: str | None) -> str:
        done = subprocess.run(
            command,
            env=self.env,
            cwd="/" if user else ROOT,
            capture_output=True,
            text=True,
            check=False,
            **_as(user),
        )
        if done.returncode:
            raise RuntimeError(f"{' '.join(command)}:\n{done.stdout[-3000:]}{done.stderr[-3000:]}")
        return done.stdout

    def _wait(self, what: str, seen: Callable[[], bool]) -> None:
        until = time.monotonic() + 120
        while time.monotonic() < until:
            if seen():
                return
            time.sleep(0.3)
        logs = {name: tail(program.log) for name, program in self.programs.items()}
        raise RuntimeError(f"{what} did not answer: {logs}")


def tail(log: Path) -> str:
    return log.read_text(errors="replace")[-1500:] if log.exists() else ""


def _answers(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), 1):
            return True
    except OSError:
        return False


def _own_disk(folder: Path) -> bool:
    """Mount a small disk of its own, so that it can be filled; needs root."""
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES},mode=711", "tmpfs", str(folder)]
    return os.geteuid() == 0 and subprocess.run(command, check=False).returncode == 0
