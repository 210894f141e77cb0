"""The addresses that mails lead to, and the pages about where reminders go."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import mail_links

urlpatterns: list[URLPattern] = [
    path("mail/job/<str:token>/", mail_links.job, name="mail-job"),
    path("mail/stop/<str:token>/", mail_links.stop, name="mail-stop"),
]
