"""The API: every address below /api/. It parses, calls one rule or query, and renders."""

from __future__ import annotations
