"""Addresses of the entrance: signing in and out, the desk, the language."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from inventory.staff.pages import desk, entry, own, second

urlpatterns: list[URLPattern | URLResolver] = [
    path("enter/", entry.Enter.as_view(), name="login"),
    path("enter/password/", entry.ChangePassword.as_view(), name="password-change"),
    path("enter/first/<str:uidb64>/<str:token>/", entry.FirstPassword.as_view(), name="first"),
    path("enter/second/", second.page, name="second"),
    path("enter/passkey/", include((second.urlpatterns, "otp_webauthn"), namespace="otp_webauthn")),
    path("own/", own.page, name="own"),
    path("own/sure/", own.sure, name="sure"),
    path("own/app/", own.app, name="own-app"),
    path("own/codes/", own.codes, name="own-codes"),
    path("own/factor/<slug:kind>/<int:number>/out/", own.remove, name="own-factor-out"),
    path("own/session/<slug:handle>/end/", own.end, name="own-session-end"),
    path("leave/", entry.Leave.as_view(), name="logout"),
    path("desk/", desk.home, name="home"),
    path("language/", include("django.conf.urls.i18n")),
]
