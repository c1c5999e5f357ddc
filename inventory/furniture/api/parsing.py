"""Reads a JSON body within limits: its size, its depth, and nothing that JSON does not know."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import IO, Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer

from inventory.furniture.api.problems import TooLarge

BODY_BYTES_MAX = 2_000_000


class BoundedJSON(BaseParser):
    """`application/json`, UTF-8. NaN and Infinity are refused."""

    media_type = "application/json"
    renderer_class = JSONRenderer

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        # One byte more than allowed tells "too large" from "just fits" without reading on; the
        # header with the length is the caller's word and not looked at.
        raw = stream.read(BODY_BYTES_MAX + 1)
        if len(raw) > BODY_BYTES_MAX:
            raise TooLarge()
        try:
            return json.loads(raw.decode("utf-8"), parse_constant=_refused)
        # RecursionError: a body of brackets alone can be small and still deeper than the parser
        # goes.
        except (ValueError, RecursionError) as error:
            raise ParseError(_("This is no JSON that can be read here.")) from error


def _refused(name: str) -> None:
    raise ValueError(name)
