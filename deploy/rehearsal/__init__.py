"""Plays the whole main job against a running service, over HTTP alone, as four people."""

from __future__ import annotations
