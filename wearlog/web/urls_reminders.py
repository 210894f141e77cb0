"""The addresses of marks on due items, of one's reminder wishes, and of the schedule's clock."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import reminders

urlpatterns: list[URLPattern] = [
    path("due/mark/", reminders.due_mark, name="due-mark"),
    path("me/reminders/", reminders.my_reminders, name="my-reminders"),
    path("reminders/clock/", reminders.reminder_clock, name="reminder-clock"),
]
