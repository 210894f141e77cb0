"""The URL of the page that shows the design to developers."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.look import views as look

app_name = "look"
urlpatterns: list[URLPattern] = [path("", look.look, name="look")]
