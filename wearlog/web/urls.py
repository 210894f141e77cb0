"""Every page's address and name."""

from __future__ import annotations

import contextlib
from importlib import import_module

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, URLResolver, include, path

from wearlog.people.roles import Permission
from wearlog.web.access import needs
from wearlog.web.views import day, due, parts, presses, signin

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
]


# Until the modules that own these pages stand, their names lead to an empty page.
@needs(Permission.VIEW)
def not_yet(request: HttpRequest, **kwargs: object) -> HttpResponse:
    return HttpResponse("This page is being written.")


with contextlib.suppress(ImportError):
    urlpatterns.append(path("", include(import_module("wearlog.web.urls_forms").urlpatterns)))
with contextlib.suppress(ImportError):
    urlpatterns.append(path("compare/", import_module("wearlog.web.views.compare").compare, name="compare"))
urlpatterns += [
    path("log/run/", not_yet, name="run-new"),
    path("log/run/<int:pk>/stop/", not_yet, name="run-stop"),
    path("log/work/", not_yet, name="work-new"),
    path("log/incident/", not_yet, name="incident-new"),
    path("log/crop-change/", not_yet, name="crop-change-new"),
    path("log/note/", not_yet, name="note-new"),
    path("log/reading/", not_yet, name="reading-new"),
    path("log/measurement/", not_yet, name="measurement-new"),
    path("lots/<int:pk>/release/", not_yet, name="lot-release"),
    path("compare/", not_yet, name="compare"),
    path("log/", not_yet, name="log"),
    path("log/<str:kind>/<int:pk>/correct/", not_yet, name="correct"),
    path("log/<str:kind>/<int:pk>/void/", not_yet, name="void"),
    path("plan/", not_yet, name="plan"),
    path("rules/", not_yet, name="rules"),
    path("presses/<int:pk>/energy/", not_yet, name="energy"),
    path("people/", not_yet, name="people"),
    path("me/", not_yet, name="my-settings"),
    path("settings/", not_yet, name="settings"),
]
