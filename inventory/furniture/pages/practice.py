"""Practice cannot be taken for real: every answer says so in a header and in its file's name.

A served installation refuses to show practice data at all.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.masters import queries as practice

HEADER = "X-Hingeback-Practice"
NOTICE = "everything here is invented"
_PROBES = ("/alive/", "/static/")
_FILE_NAME = re.compile(r'(filename=")(?!practice-)')


class PracticeMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info.startswith(_PROBES) or not practice.is_on_lately():
            return self.get_response(request)
        if settings.SERVED:
            answer = render(request, "hingeback/practice_served.html", status=503)
        else:
            answer = self.get_response(request)
        answer.headers[HEADER] = NOTICE
        # A file outlives the page with its banner, so its name has to say it as well.
        named = answer.headers.get("Content-Disposition", "")
        if named:
            prefix = rf"\1{practice.FILE_PREFIX}"
            answer.headers["Content-Disposition"] = _FILE_NAME.sub(prefix, named)
        return answer
