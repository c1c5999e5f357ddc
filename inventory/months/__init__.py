"""Closing a month, its report as page, PDF, workbook, CSV and JSON, and the checks."""

from __future__ import annotations
