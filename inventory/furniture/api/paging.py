"""Cursor pages: stable while rows are added, bounded in size."""

from __future__ import annotations

import re
from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import CursorPagination

# Eighteen digits: every such number fits the 64 bits of a key, where a longer one is an error of
# the database.
_POSITION = re.compile(r"[0-9]{1,18}")


class NewestFirst(CursorPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "-pk"

    def decode_cursor(self, request: Any) -> Any:
        """Decode a cursor, whose position is a row's number. Raises NotFound for a made-up one."""
        cursor = super().decode_cursor(request)
        position = None if cursor is None else cursor.position
        if position is not None and not _POSITION.fullmatch(str(position)):
            raise NotFound(self.invalid_cursor_message)
        return cursor
