"""Which errors say that what we stand on is away, full or busy: no fault of the program.

What was begun is undone with its transaction, so the same may be sent again.
"""

from __future__ import annotations

import errno
import sys

from django.db import InterfaceError, OperationalError

_NO_ROOM = {errno.ENOSPC, errno.EROFS, errno.EDQUOT, errno.EIO}


def is_away(error: BaseException | None) -> bool:
    """Whether an error says that the database, a disk or a store of files cannot serve now."""
    # SQLite is locked, or PostgreSQL away or choosing a deadlock's victim.
    return isinstance(error, OperationalError | InterfaceError) or is_store_away(error)


def is_store_away(error: BaseException | None) -> bool:
    """Whether a disk has no room or may not be written, or a store elsewhere does not answer."""
    if isinstance(error, OSError) and error.errno in _NO_ROOM:
        return True
    # Loaded only where a store that speaks S3 is used.
    remote = sys.modules.get("botocore.exceptions")
    return remote is not None and isinstance(error, remote.BotoCoreError | remote.ClientError)
