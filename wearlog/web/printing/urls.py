"""URLs of job cards, labels, and the pages that their codes lead to."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.printing.views import cards, labels, scan

urlpatterns: list[URLPattern] = [
    path("due/card/", cards.job_card, name="job-card"),
    path("due/card.pdf", cards.job_card_pdf, name="job-card-pdf"),
    path("labels/", labels.labels, name="labels"),
    path("labels.pdf", labels.labels_pdf, name="labels-pdf"),
    path("scan/", scan.scan, name="scan"),
    path("scan/<str:code>/", scan.code, name="scan-code"),
    path("scan/job/<str:key>/", scan.job, name="scan-job"),
]
