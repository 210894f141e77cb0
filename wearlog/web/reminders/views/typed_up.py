"""Typing up the past: what is held from mail meanwhile, and the word that it is complete."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from wearlog.people.roles import Permission
from wearlog.reminders import typing_up
from wearlog.web.site.access import MillRequest, needs


@require_http_methods(["GET", "HEAD", "POST"])
def _typed_up(request: MillRequest) -> HttpResponse:
    now = timezone.now()
    if request.method == "POST":
        typing_up.say_typed_up(by=request.user, at=now)
        messages.success(request, _("Typed up. What still holds of it goes out by mail from now on."))
        return HttpResponseRedirect(reverse("web:day"))
    held = typing_up.held_for(request.user, at=now)
    return render(request, "web/reminders/typed_up.html", {"held": held})


typed_up = needs(Permission.LOG)(_typed_up)
