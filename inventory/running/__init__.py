"""How the service itself fares: its last proved copy, and messages that wait."""

from __future__ import annotations
