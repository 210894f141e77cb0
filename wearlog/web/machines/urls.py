"""Presses and parts."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.machines.views import parts, presses

urlpatterns: list[URLPattern] = [
    path("presses/", presses.presses, name="presses"),
    path("presses/<int:pk>/", presses.press, name="press"),
    path("parts/", parts.parts, name="parts"),
    path("parts/<int:pk>/", parts.part, name="part"),
]
