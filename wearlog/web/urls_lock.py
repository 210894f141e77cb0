"""The addresses of locks and isolations."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import lock_acts, lock_isolation, lock_yearly

urlpatterns: list[URLPattern] = [
    path("presses/<int:pk>/isolation/", lock_isolation.isolation, name="isolation"),
    path("presses/<int:pk>/isolation/lock/", lock_acts.lock_on, name="lock-on"),
    path("presses/<int:pk>/isolation/off/", lock_acts.lock_off, name="lock-off"),
    path("presses/<int:pk>/isolation/hand-over/", lock_acts.hand_over, name="lock-hand-over"),
    path("presses/<int:pk>/isolation/end/", lock_acts.end, name="isolation-end"),
    path("yearly/", lock_yearly.looks, name="yearly"),
    path("yearly/record/", lock_yearly.record, name="yearly-record"),
    path("locks/<int:pk>/for-another/", lock_acts.for_another, name="lock-for-another"),
    path("locks/<int:pk>/verify/", lock_acts.verify, name="lock-verify"),
    path("locks/<int:pk>/correct/", lock_acts.correct, name="lock-correct"),
    path("locks/<int:pk>/confirm/", lock_acts.lock_confirm, name="lock-confirm"),
    path("locks/<int:pk>/told/", lock_acts.lock_told, name="lock-told"),
]
