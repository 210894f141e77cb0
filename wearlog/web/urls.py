"""Every page's address and name."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from wearlog.web import urls_calendar, urls_forms, urls_reminders
from wearlog.web.views import (
    card_print,
    compare,
    day,
    due,
    labels,
    parts,
    press_open,
    presses,
    scan,
    signin,
    track,
    worker,
    worth,
)

app_name = "web"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", day.day, name="day"),
    path("worker.js", worker.worker, name="worker"),
    path("app.webmanifest", worker.manifest, name="manifest"),
    path("sign-in/", signin.sign_in, name="sign-in"),
    path("sign-in/<str:secret>/", signin.by_link, name="sign-in-link"),
    path("sign-out/", signin.sign_out, name="sign-out"),
    path("due/", due.forecast, name="forecast"),
    path("due/card/", card_print.job_card, name="job-card"),
    path("due/card.pdf", card_print.job_card_pdf, name="job-card-pdf"),
    path("labels/", labels.labels, name="labels"),
    path("labels.pdf", labels.labels_pdf, name="labels-pdf"),
    path("scan/", scan.scan, name="scan"),
    path("scan/<str:code>/", scan.code, name="scan-code"),
    path("scan/job/<str:key>/", scan.job, name="scan-job"),
    path("presses/", presses.presses, name="presses"),
    path("presses/<int:pk>/", presses.press, name="press"),
    path("presses/<int:pk>/open/", press_open.press_open, name="press-open"),
    path("parts/", parts.parts, name="parts"),
    path("parts/<int:pk>/", parts.part, name="part"),
    path("compare/", compare.compare, name="compare"),
    path("worth/", worth.lives, name="worth"),
    path("worth/work/", worth.work, name="worth-work"),
    path("worth/pays/", worth.pays, name="worth-pays"),
    path("track-record/", track.track, name="track-record"),
    *urls_forms.urlpatterns,
    *urls_reminders.urlpatterns,
    *urls_calendar.urlpatterns,
]
