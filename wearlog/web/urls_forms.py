"""The addresses of everything that is typed: entries, the log, and what a mill sets up."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import log_book, log_events, log_fitting, log_run, log_work

urlpatterns: list[URLPattern] = [
    path("log/", log_book.log, name="log"),
    path("log/run/", log_run.run_new, name="run-new"),
    path("log/run/<int:pk>/stop/", log_run.run_stop, name="run-stop"),
    path("log/work/", log_work.work_new, name="work-new"),
    path("log/incident/", log_events.incident_new, name="incident-new"),
    path("log/crop-change/", log_events.crop_change_new, name="crop-change-new"),
    path("log/note/", log_events.note_new, name="note-new"),
    path("log/reading/", log_events.reading_new, name="reading-new"),
    path("log/measurement/", log_events.measurement_new, name="measurement-new"),
    path("log/fitting/", log_fitting.fitting_new, name="fitting-new"),
    path("log/fitting/end/", log_fitting.fitting_end, name="fitting-end"),
    path("log/fitting/swap/", log_fitting.fitting_swap, name="fitting-swap"),
    path("log/<str:kind>/<int:pk>/", log_book.record, name="record"),
    path("log/<str:kind>/<int:pk>/correct/", log_book.correct, name="correct"),
    path("log/<str:kind>/<int:pk>/void/", log_book.void, name="void"),
    path("lots/<int:pk>/release/", log_events.lot_release, name="lot-release"),
]
