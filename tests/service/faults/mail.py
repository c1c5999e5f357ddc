"""A mail server that takes every letter and remembers its id, its receiver and when it came."""

from __future__ import annotations

import time
from email import message_from_bytes
from types import TracebackType
from typing import Any

from aiosmtpd.controller import Controller

from tests.service.faults.house import free_port


class Sink:
    """Answers on a port of this machine for as long as it is open."""

    def __init__(self) -> None:
        self.taken: list[dict[str, Any]] = []
        self.port = free_port()
        self._server = Controller(self, hostname="127.0.0.1", port=self.port)

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        letter = message_from_bytes(envelope.content)
        for receiver in envelope.rcpt_tos:
            facts = {"id": str(letter["Message-ID"]), "to": receiver, "at": time.monotonic()}
            self.taken.append(facts)
        return "250 taken"

    def __enter__(self) -> Sink:
        self._server.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.stop()
