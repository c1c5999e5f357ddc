"""What a visitor sees when the program failed: whose fault it is, and what to do.

A database that is away or busy, or a disk that is full, is no fault of the program: 503, and when
to come back. Stands outside every view, for a middleware may be the first that asks the database.
"""

from __future__ import annotations

import sys

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from inventory.furniture import away
from inventory.furniture.api.problems import MEDIA_TYPE, problem

COME_BACK_S = 15


def failed(request: HttpRequest) -> HttpResponse:
    """Django's `handler500`: asked inside the handling of the exception. Asks no database."""
    is_away = away.is_away(sys.exc_info()[1])
    status = 503 if is_away else 500
    answer: HttpResponse
    if request.path_info.startswith("/api/"):
        answer = _problem("busy" if is_away else "internal")
    else:
        # Rendered without the request: context processors would ask the database, which may be what
        # is away.
        answer = HttpResponse(render_to_string(f"{status}.html"), status=status)
        answer["Cache-Control"] = "no-store"
    if is_away:
        answer["Retry-After"] = str(COME_BACK_S)
    return answer


def _problem(code: str) -> HttpResponse:
    """Outside a view there is no renderer to choose: the body is made here."""
    data = problem(code)
    answer = HttpResponse(data.rendered_content, status=data.status_code, content_type=MEDIA_TYPE)
    answer["Cache-Control"] = "no-store"
    return answer
