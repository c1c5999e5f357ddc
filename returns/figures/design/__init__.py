"""What returns tell the designer: which batch breaks sooner, where, and what that costs."""

from __future__ import annotations
