"""The page of stopped addresses, with the button to resume sending."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from wearlog.people.roles import Permission
from wearlog.reminders.channels.mail import addresses
from wearlog.reminders.models import StoppedAddress
from wearlog.web.site.access import MillRequest, needs


@needs(Permission.VIEW)
def stopped(request: MillRequest) -> HttpResponse:
    """Owners see every address that was stopped, others their own."""
    context = {
        "stops": addresses.stops_visible_to(request.user),
        "stuck_since": addresses.stuck_since(timezone.now()),
    }
    return render(request, "web/reminders/addresses.html", context)


@require_POST
def _clear(request: MillRequest, pk: int) -> HttpResponse:
    stop = get_object_or_404(StoppedAddress, pk=pk)
    addresses.clear(stopped=stop, by=request.user, at=timezone.now())
    messages.success(
        request,
        _("Reminders go to %(address)s again, and what is still true is sent within a few minutes.")
        % {"address": stop.address},
    )
    return HttpResponseRedirect(reverse("web:mail-addresses"))


clear = needs(Permission.VIEW)(_clear)
