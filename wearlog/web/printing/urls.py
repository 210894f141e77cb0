"""URLs of job cards, labels, the pages that their codes lead to, and papers to keep or to hand over."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.printing.views import cards, labels, papers, scan

urlpatterns: list[URLPattern] = [
    path("due/card/", cards.job_card, name="job-card"),
    path("due/card.pdf", cards.job_card_pdf, name="job-card-pdf"),
    path("labels/", labels.labels, name="labels"),
    path("labels.pdf", labels.labels_pdf, name="labels-pdf"),
    path("scan/", scan.scan, name="scan"),
    path("scan/<str:code>/", scan.code, name="scan-code"),
    path("scan/job/<str:key>/", scan.job, name="scan-job"),
    path("parts/<int:pk>/life/", papers.part_life, name="part-life"),
    path("parts/<int:pk>/life.pdf", papers.part_life_pdf, name="part-life-pdf"),
    path("season/", papers.season, name="season-report"),
    path("season.pdf", papers.season_pdf, name="season-report-pdf"),
]
