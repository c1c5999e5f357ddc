"""The first hour of a workshop, its logins, rights and access tokens."""

from __future__ import annotations
