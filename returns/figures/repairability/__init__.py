"""How easy each model is to repair, from the owner's scores."""

from __future__ import annotations
