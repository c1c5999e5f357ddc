"""What the API's addresses of this room have in common."""

from __future__ import annotations
