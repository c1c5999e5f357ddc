"""Mail to customers: a rule enqueues a letter by its name, the worker writes and sends it."""

from __future__ import annotations
