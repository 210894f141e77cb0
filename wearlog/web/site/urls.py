"""URLs for signing in, the health check, and the step after an entry."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.site import health, pages, sign_in

urlpatterns: list[URLPattern] = [
    path("sign-in/", sign_in.sign_in, name="sign-in"),
    path("sign-in/<str:secret>/", sign_in.by_link, name="sign-in-link"),
    path("sign-out/", sign_in.sign_out, name="sign-out"),
    path("log/after/", pages.after, name="after"),
    path("healthz", health.healthz, name="health"),
]
