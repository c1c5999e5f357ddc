"""Papers that a customer's link opens: drawn once for what they say, and kept for a while.

Drawing one takes a second of a processor, and whoever has a link could ask for it over and over. It
is kept under the digest of what it says, so another frame, address or language is another paper.
Only papers without a customer's own data are kept: nothing here has to be erased with anybody.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime
from hashlib import sha256

import structlog
from django.core.files.base import ContentFile
from django.core.files.storage import Storage, storages

from inventory.furniture.away import is_store_away

log = structlog.get_logger(__name__)

# One at a time in each process: of twenty that ask for one paper at once, one draws it.
_drawing = threading.Lock()


def store() -> Storage:
    return storages["papers"]


def kept(markup: str, draw: Callable[[str], bytes]) -> bytes:
    """Return the paper that this markup makes, drawn by `draw` if nobody asked for it before."""
    name = f"{sha256(markup.encode()).hexdigest()}.pdf"
    try:
        return _read(name)
    except FileNotFoundError:
        pass
    with _drawing:
        try:
            return _read(name)
        except FileNotFoundError:
            return _drawn(name, draw(markup))


def _read(name: str) -> bytes:
    with store().open(name) as file:
        return bytes(file.read())


def _drawn(name: str, made: bytes) -> bytes:
    try:
        store().save(name, ContentFile(made))
    except Exception as error:
        # A disk that is full is no reason to keep a customer from posting a frame.
        if not is_store_away(error):
            raise
        log.warning("paper_not_kept", error=type(error).__name__)
    return made


def prune(*, older_than: datetime) -> int:
    """Forget papers made before a moment; who asks again gets a new one. Returns how many."""
    names = [name for name in store().listdir("")[1] if _is_older(name, older_than)]
    for name in names:
        store().delete(name)
    return len(names)


def _is_older(name: str, moment: datetime) -> bool:
    try:
        return store().get_modified_time(name) < moment
    except FileNotFoundError:
        return False  # gone meanwhile
