"""Spare kits from promise to posting, and parts that come in for who waits."""

from __future__ import annotations
