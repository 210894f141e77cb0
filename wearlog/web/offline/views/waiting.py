"""The page of entries that a device has not sent yet, and the CSRF token for sending them."""

from __future__ import annotations

from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render

from wearlog.people.roles import Permission
from wearlog.web.site.access import MillRequest, kept_offline, needs


@needs(Permission.VIEW)
@kept_offline
def waiting(request: MillRequest) -> HttpResponse:
    """The page of entries that this device has not sent yet, and of pages that it can show offline.

    The server sends no content; scripts fill it in from the device. Offline it replaces pages that are not
    cached.
    """
    return render(request, "web/offline/waiting.html")


@needs(Permission.VIEW)
def token(request: MillRequest) -> JsonResponse:
    """The person signed in on this device, and the CSRF token that a form needs."""
    return JsonResponse({"token": get_token(request), "who": request.user.pk, "name": str(request.user)})
