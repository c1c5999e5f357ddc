"""A customer files a request: the form, its photos and the private link."""

from __future__ import annotations
