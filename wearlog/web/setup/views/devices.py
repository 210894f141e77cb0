"""The devices on which a person is signed in (one's own; for owners anybody's), and signing them out."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from wearlog.people import sessions
from wearlog.people.devices import device_words
from wearlog.people.models import User
from wearlog.people.roles import Permission
from wearlog.people.words import when
from wearlog.web.setup.things import present_words
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import reader_of

ALL = "all"


@dataclass(frozen=True)
class Device:
    """A line of the list. `here`: this device; `words` say since when it is signed in and when it was last
    used."""

    name: str
    handle: str
    here: bool
    words: tuple[str, ...]


def devices_of(person: User, request: MillRequest) -> list[Device]:
    """The devices on which the person is signed in, this one first."""
    here, zone = handle_here(request), reader_of(request).zone
    found = [
        Device(
            name=device_words(row.device),
            handle=row.handle,
            here=row.handle == here,
            words=present_words(
                row.signed_in_at and _("signed in %(when)s") % {"when": when(row.signed_in_at, zone)},
                row.used_at and _("last used %(when)s") % {"when": when(row.used_at, zone)},
            ),
        )
        for row in sessions.not_expired(person, at=timezone.now())
    ]
    return sorted(found, key=lambda device: not device.here)


def handle_here(request: MillRequest) -> str:
    key = request.session.session_key
    return sessions.handle_of(key) if key else ""


@never_cache
def _my_devices(request: MillRequest) -> HttpResponse:
    if request.method == "POST":
        return end(request, request.user, then=reverse("web:my-devices"))
    context = {"devices": devices_of(request.user, request), "end_url": reverse("web:my-devices")}
    return render(request, "web/setup/devices.html", context)


@never_cache
@require_POST
def _person_devices(request: MillRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(User, pk=pk)
    return end(request, person, then=reverse("web:person-edit", kwargs={"pk": pk}))


def end(request: MillRequest, person: User, *, then: str) -> HttpResponse:
    """Sign out the device that the form names, or all except this one."""
    now, requested = timezone.now(), request.POST.get("device", "")
    if requested == ALL:
        number = sessions.end_all(by=request.user, at=now, person=person, but=request.session.session_key)
        said = ngettext("%(number)s device is signed out.", "%(number)s devices are signed out.", number)
        messages.success(request, said % {"number": number})
    elif sessions.end(by=request.user, at=now, person=person, handle=requested):
        if requested == handle_here(request):
            logout(request)
            return HttpResponseRedirect(reverse("web:sign-in"))
        messages.success(request, _("Signed out: the next thing asked from there leads to the sign-in."))
    else:
        messages.success(request, _("That device is signed out already."))
    return HttpResponseRedirect(then)


@never_cache
@require_POST
def _in_use(request: MillRequest) -> HttpResponse:
    """A request that a page's script sends from time to time; `needs` records the use of the session."""
    return HttpResponse(status=204)


my_devices = needs(Permission.VIEW)(_my_devices)
person_devices = needs(Permission.OWN)(_person_devices)
in_use = needs(Permission.VIEW)(_in_use)
