"""URLs of comparisons, lifetimes and costs, and the track record."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.reports.views import compare, track, worth

urlpatterns: list[URLPattern] = [
    path("compare/", compare.compare, name="compare"),
    path("worth/", worth.lives, name="worth"),
    path("worth/work/", worth.work, name="worth-work"),
    path("worth/pays/", worth.pays, name="worth-pays"),
    path("track-record/", track.track, name="track-record"),
]
