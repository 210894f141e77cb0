"""The addresses that mails lead to, and the pages about where reminders go."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import mail_addresses, mail_links

urlpatterns: list[URLPattern] = [
    path("mail/job/<str:token>/", mail_links.job, name="mail-job"),
    path("mail/stop/<str:token>/", mail_links.stop, name="mail-stop"),
    path("mail/addresses/", mail_addresses.stopped, name="mail-addresses"),
    path("mail/addresses/<int:pk>/again/", mail_addresses.clear, name="mail-address-clear"),
]
