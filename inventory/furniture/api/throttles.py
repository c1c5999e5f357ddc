"""The API's limit by visitor, counted by the same address as every other limit."""

from __future__ import annotations

from django.http import HttpRequest
from rest_framework.request import Request
from rest_framework.throttling import ScopedRateThrottle

from inventory.furniture import visitors


class VisitorThrottle(ScopedRateThrottle):
    """`throttle_scope` names the rate; a visitor is who `visitors.address` says."""

    def get_ident(self, request: Request | HttpRequest) -> str:
        plain = request._request if isinstance(request, Request) else request
        return visitors.address(plain)
