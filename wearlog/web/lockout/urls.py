"""URLs of locks, isolations, cautions and the yearly inspections."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.lockout.views import acts, cautions, energy, isolation, yearly

urlpatterns: list[URLPattern] = [
    path("presses/<int:pk>/energy/start/", energy.energy_start, name="energy-start"),
    path("cautions/", cautions.cautions, name="cautions"),
    path("cautions/<slug:hazard>/", cautions.wording, name="wording"),
    path("presses/<int:pk>/isolation/", isolation.isolation, name="isolation"),
    path("presses/<int:pk>/isolation/lock/", acts.lock_on, name="lock-on"),
    path("presses/<int:pk>/isolation/off/", acts.lock_off, name="lock-off"),
    path("presses/<int:pk>/isolation/hand-over/", acts.hand_over, name="lock-hand-over"),
    path("presses/<int:pk>/isolation/end/", acts.end, name="isolation-end"),
    path("yearly/", yearly.looks, name="yearly"),
    path("yearly/record/", yearly.record, name="yearly-record"),
    path("locks/<int:pk>/for-another/", acts.for_another, name="lock-for-another"),
    path("locks/<int:pk>/verify/", acts.verify, name="lock-verify"),
    path("locks/<int:pk>/correct/", acts.correct, name="lock-correct"),
    path("locks/<int:pk>/confirm/", acts.lock_confirm, name="lock-confirm"),
    path("locks/<int:pk>/told/", acts.lock_told, name="lock-told"),
]
