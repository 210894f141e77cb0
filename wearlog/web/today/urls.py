"""URLs of the day page and its pictures, the forecast, and the list of work for one stop of a press."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.today.views import day, forecast, pictures, press_open

urlpatterns: list[URLPattern] = [
    path("", day.day, name="day"),
    path("how-it-goes/", pictures.pictures, name="pictures"),
    path("due/", forecast.forecast, name="forecast"),
    path("presses/<int:pk>/open/", press_open.press_open, name="press-open"),
]
