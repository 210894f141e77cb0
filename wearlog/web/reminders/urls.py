"""URLs of marks on due items, wishes, the calendar, and the links in mails."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.reminders.views import addresses, calendar, links, typed_up, webhook, wishes

urlpatterns: list[URLPattern] = [
    path("due/mark/", wishes.due_mark, name="due-mark"),
    path("me/reminders/", wishes.my_reminders, name="my-reminders"),
    path("reminders/clock/", wishes.reminder_clock, name="reminder-clock"),
    path("log/typed-up/", typed_up.typed_up, name="typed-up"),
    path("me/calendar/", calendar.my_calendar, name="my-calendar"),
    path("me/calendar/<int:pk>/end/", calendar.end, name="calendar-end"),
    path("calendar/<str:secret>.ics", calendar.feed, name="calendar-feed"),
    path("mail/job/<str:token>/", links.job, name="mail-job"),
    path("mail/stop/<str:token>/", links.stop, name="mail-stop"),
    path("mail/addresses/", addresses.stopped, name="mail-addresses"),
    path("mail/addresses/<int:pk>/again/", addresses.clear, name="mail-address-clear"),
    path("webhook/", webhook.page, name="webhook"),
    path("webhook/test/", webhook.try_out, name="webhook-test"),
    path("webhook/secret/", webhook.renew, name="webhook-renew"),
]
