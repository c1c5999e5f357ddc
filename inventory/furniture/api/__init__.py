"""What every API address stands on: problems, tokens, scopes, paging, keys, parsing, lookups."""

from __future__ import annotations
