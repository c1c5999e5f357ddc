"""What a request and a frame may become, and the story told to the person whose they are."""

from __future__ import annotations
