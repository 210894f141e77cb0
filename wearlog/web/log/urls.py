"""URLs of the entry forms and of the log."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.log.views import book, crop_change, events, fitting, photos, run, sheet, work

urlpatterns: list[URLPattern] = [
    path("log/", book.log, name="log"),
    path("log/run/", run.run_new, name="run-new"),
    path("log/sheet/", sheet.shift, name="shift-sheet"),
    path("presses/<int:pk>/week/", sheet.week, name="week"),
    path("presses/<int:pk>/wall-sheet/", sheet.wall_sheet, name="wall-sheet"),
    path("log/run/<int:pk>/stop/", run.run_stop, name="run-stop"),
    path("log/work/", work.work_new, name="work-new"),
    path("log/incident/", events.incident_new, name="incident-new"),
    path("log/crop-change/", crop_change.crop_change_new, name="crop-change-new"),
    path("log/note/", events.note_new, name="note-new"),
    path("log/reading/", events.reading_new, name="reading-new"),
    path("log/measurement/", events.measurement_new, name="measurement-new"),
    path("log/fitting/", fitting.fitting_new, name="fitting-new"),
    path("log/fitting/end/", fitting.fitting_end, name="fitting-end"),
    path("log/fitting/swap/", fitting.fitting_swap, name="fitting-swap"),
    path("log/<str:kind>/<int:pk>/", book.record, name="record"),
    path("log/<str:kind>/<int:pk>/photo/", photos.photo_add, name="photo-add"),
    path("photos/<slug:name>/", photos.photo, name="photo"),
    path("photos/<slug:name>/delete/", photos.photo_delete, name="photo-delete"),
    path("photos/<slug:name>/small/", photos.photo_small, name="photo-small"),
    path("log/<str:kind>/<int:pk>/correct/", book.correct, name="correct"),
    path("log/<str:kind>/<int:pk>/void/", book.void, name="void"),
    path("lots/<int:pk>/release/", events.lot_release, name="lot-release"),
]
