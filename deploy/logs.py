"""The last step of every log line: the secret of a private link never leaves the process."""

from __future__ import annotations

import logging
import re

import structlog

# Applied to the finished line, so that it also meets links inside tracebacks and the words of
# libraries.
_LINK = re.compile(r"(/story/|/slip/|/partner/|/ask/photo/|/enter/first/[\w-]+/)[\w-]{16,}")


class DiscreetFormatter(structlog.stdlib.ProcessorFormatter):
    """Structured lines with the secrets of links blanked out."""

    def format(self, record: logging.LogRecord) -> str:
        return _LINK.sub(r"\1***", super().format(record))
