"""Run web process, worker and, if asked, proxy together, and end all when one ends or Ctrl-C comes.

For the embedded installation only: a served one starts its processes under its own supervisor.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import IO

ROOT = Path(__file__).resolve().parent.parent
GRACE_S = 15


def commands(port: int) -> dict[str, list[str]]:
    """The two processes of every workshop by name."""
    python = sys.executable
    web = [python, "-m", "gunicorn", "deploy.wsgi:application", "--bind", f"127.0.0.1:{port}"]
    web += ["--workers", "2", "--threads", "4", "--timeout", "60", "--log-level", "warning"]
    web += ["--no-control-socket"]
    worker = [
        python,
        "-m",
        "celery",
        "--quiet",
        "-A",
        "deploy",
        "worker",
        "--beat",
        "--concurrency",
        "1",
    ]
    worker += ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel"]
    return {"web": web, "worker": [*worker, "WARNING"]}


def proxy(name: str, port: int, to: int) -> tuple[list[str], dict[str, str]]:
    """The HTTPS proxy for the machines of the same network: its command, and what it reads."""
    folder = ROOT / "deploy" / "proxy"
    data_dir = Path(os.environ.get("HINGEBACK_DATA_DIR", ROOT / "var"))
    env = {
        "WORKSHOP_NAME": name,
        "WORKSHOP_PORT": str(port),
        "WORKSHOP_TLS": os.environ.get("HINGEBACK_NETWORK_TLS") or "internal",
        "WORKSHOP_TO": str(to),
        "WORKSHOP_DIR": str(data_dir / "network"),
        # Else it writes the last configuration into the home of whoever started it.
        "XDG_CONFIG_HOME": str(data_dir / "network"),
        "XDG_DATA_HOME": str(data_dir / "network"),
    }
    words = ["caddy", "run", "--config", str(folder / "Caddyfile"), "--adapter", "caddyfile"]
    return words, env


def answers(port: int) -> bool:
    """Whether the pages answer yet."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/alive/", timeout=2) as reply:
            return bool(reply.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def is_taken(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def stop(processes: dict[str, subprocess.Popen[bytes]]) -> None:
    """Ask each to end, then insist."""
    for process in processes.values():
        if process.poll() is None:
            process.terminate()
    deadline = time.monotonic() + GRACE_S
    for process in processes.values():
        try:
            process.wait(max(0.1, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.kill()


class InUse(Exception):
    """The data folder cannot be this shop's alone; says why and what to do."""


def alone(data: Path) -> IO[str]:
    """Take the data folder for this shop; closing what is returned gives it back. Raises InUse.

    Two workers on one folder would both send the letters of one database, and a beat each.
    """
    try:
        held = (data / "in-use").open("w")
    except OSError as error:
        raise InUse(f"{data} cannot be written: {error.strerror}.") from error
    try:
        # The kernel's own lock: it falls with the process, however that ends.
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        held.close()
        raise InUse(
            f"A shop is running on {data} already. Stop it first, or name another folder in "
            "HINGEBACK_DATA_DIR."
        ) from error
    return held


def greet(address: str, welcome: Path | None) -> None:
    """Say the logins first and the links last: the last line is the one to click."""
    out = sys.stdout.write
    data_dir = Path(os.environ.get("HINGEBACK_DATA_DIR", ROOT / "var"))
    logins = data_dir / "demo_logins.txt"
    if logins.exists():
        out(f"\n{logins.read_text(encoding='utf-8')}")
    out(f"\nHingeback is running. Ctrl-C stops it.\n\n  API        {address}/api/docs/\n")
    out(f"  customers  {address}/\n  workshop   {address}/enter/\n")
    if welcome is not None and welcome.exists():
        # Said once: the link in it lets whoever holds it set the owner's password.
        out(f"\n{welcome.read_text(encoding='utf-8')}")
        welcome.unlink()
    sys.stdout.flush()


def watch(
    processes: dict[str, subprocess.Popen[bytes]], port: int, greeting: Callable[[], None]
) -> int:
    """Greet once the pages answer; return when a process ends, with its exit code."""
    greeted = False
    while True:
        for name, process in processes.items():
            if process.poll() is not None:
                sys.stderr.write(f"The {name} process ended; stopping the others.\n")
                if name == "proxy":
                    sys.stderr.write(
                        "Why: the last lines of network/proxy.log in the data folder.\n"
                    )
                return process.returncode or 1
        if not greeted and answers(port):
            greeting()
            greeted = True
        time.sleep(0.5 if greeted else 0.2)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8000)
    parser.add_argument("--welcome", type=Path, help="a file to say once the pages answer")
    parser.add_argument("--network", help="the name or address that other machines use, for HTTPS")
    parser.add_argument("--https-port", type=int, default=8443)
    parser.add_argument("--again", default="", help="how up.sh starts this one, for an upgrade")
    given = parser.parse_args()
    port = given.port
    for wanted in (port, *([given.https_port] if given.network else [])):
        if is_taken(wanted):
            sys.stderr.write(f"Port {wanted} is taken. Choose another with deploy/up.sh --port N\n")
            return 1

    def leave(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    address = os.environ.get("HINGEBACK_BASE_URL") or f"http://127.0.0.1:{port}"
    running = Path(os.environ.get("HINGEBACK_DATA_DIR", ROOT / "var")) / "running"
    try:
        held = alone(running.parent)
    except InUse as error:
        sys.stderr.write(f"{error}\n")
        return 1
    sys.stdout.write("Starting the pages and the worker\n")
    sys.stdout.flush()
    signal.signal(signal.SIGTERM, leave)
    # Celery warns of running as root; on a practice machine that is the user's own choice.
    quiet = os.environ | {"PYTHONWARNINGS": "ignore:You're running the worker"}
    log = None
    started = {name: (command, quiet) for name, command in commands(port).items()}
    if given.network:
        command, more = proxy(given.network, given.https_port, port)
        started["proxy"] = (command, quiet | more)
        folder = Path(more["WORKSHOP_DIR"])
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        log = (folder / "proxy.log").open("ab")
    # A group of its own for each: Ctrl-C reaches this process only, which ends them in order.
    processes = {
        name: subprocess.Popen(  # noqa: S603
            command,
            cwd=ROOT,
            env=env,
            start_new_session=True,
            # Caddy tells of its own start on the error stream; what goes wrong ends it, and is read
            # there.
            stderr=log if name == "proxy" else None,
        )
        for name, (command, env) in started.items()
    }
    running.write_text(f"{os.getpid()}\n{given.again}\n", encoding="utf-8")
    try:
        return watch(processes, port, lambda: greet(address, given.welcome))
    except KeyboardInterrupt:
        sys.stdout.write("\nStopping.\n")
        return 0
    finally:
        stop(processes)
        running.unlink(missing_ok=True)
        held.close()


if __name__ == "__main__":
    sys.exit(main())
