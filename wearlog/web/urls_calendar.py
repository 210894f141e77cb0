"""The addresses of the calendar, and of the page for watchers of the machine."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import calendar_feed, health

urlpatterns: list[URLPattern] = [
    path("healthz", health.healthz, name="health"),
    path("me/calendar/", calendar_feed.my_calendar, name="my-calendar"),
    path("me/calendar/<int:pk>/end/", calendar_feed.end, name="calendar-end"),
    path("calendar/<str:secret>.ics", calendar_feed.feed, name="calendar-feed"),
]
