"""What a device has not sent yet, and the token with which it sends."""

from __future__ import annotations

from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render

from wearlog.people.roles import Permission
from wearlog.web.site.access import MillRequest, kept, needs


@needs(Permission.VIEW)
@kept
def waiting(request: MillRequest) -> HttpResponse:
    """What this device has not sent yet, and what it can show without a network.

    The page is empty; its scripts fill it from the device. It also stands in for pages that are not kept.
    """
    return render(request, "web/offline/waiting.html")


@needs(Permission.VIEW)
def token(request: MillRequest) -> JsonResponse:
    """Who is signed in on this device, and the token that a form needs."""
    return JsonResponse({"token": get_token(request), "who": request.user.pk, "name": str(request.user)})
