"""The addresses that mails lead to, and the pages about where reminders go."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.views import mail_addresses, mail_links, mail_webhook

urlpatterns: list[URLPattern] = [
    path("mail/job/<str:token>/", mail_links.job, name="mail-job"),
    path("mail/stop/<str:token>/", mail_links.stop, name="mail-stop"),
    path("mail/addresses/", mail_addresses.stopped, name="mail-addresses"),
    path("mail/addresses/<int:pk>/again/", mail_addresses.clear, name="mail-address-clear"),
    path("webhook/", mail_webhook.page, name="webhook"),
    path("webhook/test/", mail_webhook.try_out, name="webhook-test"),
    path("webhook/secret/", mail_webhook.renew, name="webhook-renew"),
]
