"""Addresses of the entrance: signing in and out, the desk, the language."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from inventory.staff.pages import desk, entry

urlpatterns: list[URLPattern | URLResolver] = [
    path("enter/", entry.Enter.as_view(), name="login"),
    path("enter/password/", entry.ChangePassword.as_view(), name="password-change"),
    path("enter/first/<str:uidb64>/<str:token>/", entry.FirstPassword.as_view(), name="first"),
    path("leave/", entry.Leave.as_view(), name="logout"),
    path("desk/", desk.home, name="home"),
    path("language/", include("django.conf.urls.i18n")),
]
