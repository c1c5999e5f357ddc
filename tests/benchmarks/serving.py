"""Starts the service's own web process on a free port of this machine, and talks to it."""

from __future__ import annotations

import http.client
import json
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from deploy import shop

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def running(log: Path) -> Iterator[int]:
    """The web process as `deploy.shop` starts it, without the worker; ended on the way out."""
    port = free_port()
    with log.open("wb") as kept:
        process = subprocess.Popen(
            shop.commands(port)["web"], cwd=ROOT, stdout=kept, stderr=kept, start_new_session=True
        )
        try:
            _wait(process, port, log)
            yield port
        finally:
            shop.stop({"web": process})


def _wait(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not shop.answers(port):
        if process.poll() is not None or time.monotonic() > deadline:
            raise SystemExit(f"The web process did not answer:\n{log.read_text()[-2000:]}")
        time.sleep(0.2)


class Line:
    """One kept connection."""

    def __init__(self, port: int, headers: Mapping[str, str] | None = None) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = dict(headers or {})

    def post(self, path: str, body: Mapping[str, Any], **headers: str) -> None:
        """Send JSON; anything but 201 ends the run."""
        sent = {"Content-Type": "application/json", **self.headers, **headers}
        self._ask("POST", path, json.dumps(body), sent, 201)

    def get(self, path: str) -> bytes:
        return self._ask("GET", path, None, self.headers, 200)

    def fresh(self) -> None:
        """Connect anew: the server hangs up on a line that was still for two seconds."""
        self.connection.close()

    def _ask(
        self, method: str, path: str, body: str | None, headers: dict[str, str], wanted: int
    ) -> bytes:
        try:
            self.connection.request(method, path, body, headers)
            reply = self.connection.getresponse()
        except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError) as error:
            raise SystemExit(f"{method} {path}: the connection broke ({error!r}).") from error
        content = reply.read()
        if reply.status != wanted:
            raise SystemExit(f"{method} {path}: {reply.status} {content[:300]!r}")
        return content
