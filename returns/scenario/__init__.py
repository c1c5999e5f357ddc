"""The invented demo scenario: a workshop's masters and four months of its life."""

from __future__ import annotations
