"""Cursor pages: stable while rows are added, bounded in size."""

from __future__ import annotations

from rest_framework.pagination import CursorPagination


class NewestFirst(CursorPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
    ordering = "-pk"
