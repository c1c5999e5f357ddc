"""The addresses of the service, and the bare view's."""

from __future__ import annotations

from django.urls import path

from deploy.urls import urlpatterns as of_the_service
from tests.benchmarks.bare import Bare

urlpatterns = [path("bare/", Bare.as_view()), *of_the_service]
