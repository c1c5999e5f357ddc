"""Frames of a month drawn and weighed again, to judge how well the bench weighs."""

from __future__ import annotations
