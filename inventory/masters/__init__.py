"""Entering the workshop, its scales, polymers, colours and parts."""

from __future__ import annotations
