"""The invented demo scenario: a workshop's masters and a year of its life."""

from __future__ import annotations
