"""The first owner, logins, and the door."""

from __future__ import annotations
