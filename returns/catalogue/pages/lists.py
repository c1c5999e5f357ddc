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
    """A field for a CSV file."""
    shape = forms.ClearableFileInput(attrs={"accept": ".csv,text/csv"})
    return forms.FileField(label=label, help_text=help_text, widget=shape)


def content(upload: Any) -> bytes:
    """At most one byte more than allowed is read into memory."""
    read: bytes = upload.read(csvlists.BYTES_MAX + 1)
    return read


def tried_field(max_length: int) -> forms.CharField:
    """Rows that were tried, carried along as text; they are checked again."""
    return forms.CharField(widget=forms.HiddenInput, max_length=max_length, strip=False)


def text(rows: Iterable[Sequence[Any]], end: str = "\n") -> str:
    """Rows as CSV."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator=end).writerows(rows)
    return out.getvalue()


def template(filename: str, rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """A list to be filled in, with CRLF (RFC 4180)."""
    return download(filename, text(rows, "\r\n").encode())


def download(filename: str, rows: bytes) -> HttpResponse:
    """A file to be saved."""
    answer = HttpResponse(rows, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{filename}"'
    return answer
