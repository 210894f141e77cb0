"""URLs for offline use: the service worker, the manifest, and entries not sent yet."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.offline.views import waiting, worker

urlpatterns: list[URLPattern] = [
    path("worker.js", worker.worker, name="worker"),
    path("app.webmanifest", worker.manifest, name="manifest"),
    path("log/waiting/", waiting.waiting, name="waiting"),
    path("log/waiting/token/", waiting.token, name="waiting-token"),
]
