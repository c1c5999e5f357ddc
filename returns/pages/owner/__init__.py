"""The owner's pages: figures, claims, lifetimes, sales lists, access tokens."""

from __future__ import annotations
