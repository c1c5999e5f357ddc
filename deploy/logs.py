"""The last step of every log line: the secret of a private link never leaves the process."""

from __future__ import annotations

import logging
import re

import structlog

_LINK = re.compile(r"(/story/|/ask/photo/|/enter/first/[\w-]+/)[\w-]{16,}")


class DiscreetFormatter(structlog.stdlib.ProcessorFormatter):
    """Structured lines with the secrets of links blanked out."""

    def format(self, record: logging.LogRecord) -> str:
        return _LINK.sub(r"\1***", super().format(record))
