"""Files are made in the workshop's own language, whoever asks for them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.utils import translation


@contextmanager
def workshop_language() -> Iterator[str]:
    """Switch to the workshop's language, so that the same file comes out for everybody."""
    with translation.override(settings.LANGUAGE_CODE):
        yield settings.LANGUAGE_CODE
