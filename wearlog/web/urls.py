"""Every page's address and name."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from wearlog.web import urls_forms
from wearlog.web.views import compare, day, due, parts, presses, signin, track

app_name = "web"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", day.day, name="day"),
    path("sign-in/", signin.sign_in, name="sign-in"),
    path("sign-in/<str:secret>/", signin.by_link, name="sign-in-link"),
    path("sign-out/", signin.sign_out, name="sign-out"),
    path("due/", due.forecast, name="forecast"),
    path("due/card/", due.job_card, name="job-card"),
    path("presses/", presses.presses, name="presses"),
    path("presses/<int:pk>/", presses.press, name="press"),
    path("parts/", parts.parts, name="parts"),
    path("parts/<int:pk>/", parts.part, name="part"),
    path("compare/", compare.compare, name="compare"),
    path("track-record/", track.track, name="track-record"),
    *urls_forms.urlpatterns,
]
