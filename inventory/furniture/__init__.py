"""What every page and every address of the API stands in."""

from __future__ import annotations
