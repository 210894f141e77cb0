"""The URLs of all pages, area by area."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver

from wearlog.web.lockout import urls as lockout
from wearlog.web.log import urls as log
from wearlog.web.machines import urls as machines
from wearlog.web.offline import urls as offline
from wearlog.web.printing import urls as printing
from wearlog.web.records import urls as records
from wearlog.web.reminders import urls as reminders
from wearlog.web.reports import urls as reports
from wearlog.web.setup import urls as setup
from wearlog.web.site import urls as site
from wearlog.web.today import urls as today

app_name = "web"
urlpatterns: list[URLPattern | URLResolver] = [
    *today.urlpatterns,
    *site.urlpatterns,
    *offline.urlpatterns,
    *log.urlpatterns,
    *machines.urlpatterns,
    *lockout.urlpatterns,
    *printing.urlpatterns,
    *records.urlpatterns,
    *reports.urlpatterns,
    *setup.urlpatterns,
    *reminders.urlpatterns,
]
