"""What the post brought: parcels, weigh-ins, and what the mass of a frame says."""

from __future__ import annotations
