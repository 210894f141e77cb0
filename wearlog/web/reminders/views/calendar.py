"""The page to make and revoke addresses of calendar feeds, and the feed itself."""

from __future__ import annotations

import hashlib
from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from wearlog.equipment.models import Press
from wearlog.people.languages import language_of
from wearlog.people.models import Mill
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission
from wearlog.reminders.calendar import feeds as calendar_feeds
from wearlog.reminders.calendar.format import CONTENT_TYPE, as_ics
from wearlog.reminders.models import CalendarFeed
from wearlog.reminders.models.feeds import LONGEST_NOTE
from wearlog.web.site.access import MillRequest, needs, public

FIELDS = {name: CalendarFeed._meta.get_field(name) for name in ("press", "note")}
"""What the form asks for; labels, help and limit are the model's."""


@public
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The feed for a calendar program. It needs no sign-in: the secret in the URL authorises. Writes
    nothing."""
    found = calendar_feeds.feed_of(secret)
    if found is None:
        return HttpResponse(
            _("This calendar address does not work any more. Make a new one in Wearlog, under Calendar.\n"),
            status=404,
            content_type="text/plain; charset=utf-8",
        )
    mill = Mill.current()
    today = timezone.localdate(timezone=mill.zone)
    with translation.override(language_of(mill=mill)):  # events are stored in the mill's language
        body = as_ics(found, calendar_feeds.entries_of(found, today=today), mill=mill.name)
    etag = quote_etag(hashlib.sha256(body).hexdigest()[:32])
    response = HttpResponse(body, content_type=CONTENT_TYPE)
    response["Cache-Control"] = "private, no-cache"
    response["X-Robots-Tag"] = "noindex"
    response["Content-Disposition"] = 'inline; filename="wearlog.ics"'
    response["ETag"] = etag
    return cast("HttpResponse", get_conditional_response(request, etag=etag, response=response))


@never_cache
def _my_calendar(request: MillRequest) -> HttpResponse:
    if request.method != "POST":
        return show(request)
    note = " ".join(request.POST.get("note", "").split())
    wanted = request.POST.get("press", "")
    press = Press.objects.filter(pk=int(wanted)).first() if wanted.isdecimal() and len(wanted) < 19 else None
    if wanted and press is None:
        return show(request, error=_("That press is not here. Choose one of the list."), note=note)
    if len(note) > LONGEST_NOTE:
        return show(
            request,
            error=_("The note has more than %(most)s letters. Shorten it.") % {"most": LONGEST_NOTE},
            note=note,
            press=press,
        )
    try:
        made, secret = calendar_feeds.make_feed(by=request.user, at=timezone.now(), press=press, note=note)
    except NotAllowed:
        raise
    except Refused as refused:
        return show(request, error=refused.message, note=note, press=press)
    link = request.build_absolute_uri(reverse("web:calendar-feed", kwargs={"secret": secret}))
    return render(request, "web/reminders/calendar_made.html", {"link": link, "feed": made})


def show(
    request: MillRequest, *, error: str = "", note: str = "", press: Press | None = None
) -> HttpResponse:
    """The page; after a refusal with the values that were typed."""
    context = {
        "feeds": list(calendar_feeds.visible_to(request.user)),
        "presses": Press.objects.order_by("code"),
        "error": error,
        "note": note,
        "chosen": press,
        "fields": FIELDS,
    }
    return render(request, "web/reminders/calendar.html", context, status=422 if error else 200)


@require_POST
def _end(request: MillRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(calendar_feeds.visible_to(request.user), pk=pk)
    calendar_feeds.revoke(feed=found, by=request.user, at=timezone.now())
    messages.success(request, _("Withdrawn: that address shows nothing from now on."))
    return HttpResponseRedirect(reverse("web:my-calendar"))


my_calendar = needs(Permission.VIEW)(_my_calendar)
end = needs(Permission.VIEW)(_end)
