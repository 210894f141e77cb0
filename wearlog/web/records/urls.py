"""URLs of the tables of records that stand behind figures."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.records.views import doubts, lists, lives, runs

urlpatterns: list[URLPattern] = [
    path("records/runs/", runs.runs, name="records-runs"),
    path("records/work/", lists.work, name="records-work"),
    path("records/incidents/", lists.incidents, name="records-incidents"),
    path("records/gauges/", lists.gauges, name="records-gauges"),
    path("records/doubts/", doubts.doubts, name="doubts"),
    path("records/lives/", lives.lives, name="records-lives"),
]
