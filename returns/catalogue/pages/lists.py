"""CSV lists in and out of the owner's pages: what every upload and download of one has alike."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.http import HttpResponse

from returns.catalogue.rules import csvlists


def file_field(label: Any, help_text: Any) -> forms.FileField:
    """Make a field for a CSV file."""
    shape = forms.ClearableFileInput(attrs={"accept": ".csv,text/csv"})
    return forms.FileField(label=label, help_text=help_text, widget=shape)


def content(upload: Any) -> bytes:
    """Read an upload, at most one byte more than allowed."""
    # The one byte tells a file that is too large from one that just fits, without reading all of
    # it.
    read: bytes = upload.read(csvlists.BYTES_MAX + 1)
    return read


def tried_field(max_length: int) -> forms.CharField:
    """Make a hidden field for rows that were tried; they are checked again."""
    # Not stripped: a blank at the end of the last row may be a cell.
    return forms.CharField(widget=forms.HiddenInput, max_length=max_length, strip=False)


def text(rows: Iterable[Sequence[Any]], end: str = "\n") -> str:
    """Write rows as CSV."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator=end).writerows(rows)
    return out.getvalue()


def template(filename: str, rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """Send a list to be filled in, with CRLF (RFC 4180)."""
    return download(filename, text(rows, "\r\n").encode())


def download(filename: str, rows: bytes) -> HttpResponse:
    """Send a file to be saved."""
    answer = HttpResponse(rows, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{filename}"'
    return answer
