"""The pages of the links in mails: one job to read, and the button that stops the mails.

They sign nobody in, and opening one changes nothing, since mail scanners and previews open every link.
"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import items_without_cautions, with_their_cautions
from wearlog.people.languages import language_of
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels.mail.addresses import stop_reminders
from wearlog.reminders.channels.mail.links import BadLink, JobLink, read_job, read_stop
from wearlog.reminders.outbox.keys import thing_of
from wearlog.web.site.access import public


@public
@never_cache
@require_safe
def job(request: HttpRequest, token: str) -> HttpResponse:
    """The present state of the task in a mail, readable without signing in; logging it requires that.

    The link works for 90 days, while the recipient's account is active.
    """
    try:
        link = read_job(token, on=timezone.now().date())
    except BadLink:
        return render(request, "web/reminders/job.html", {"problem": "bad"}, status=404)
    person = User.objects.filter(pk=link.person_id).first()
    if person is None or not allows(person, Permission.VIEW):
        return render(request, "web/reminders/job.html", {"problem": "gone"}, status=403)
    with translation.override(language_of(person)):  # the language of the mail
        item = item_of(link)
        context = {"task": item, "is_told": item is not None and item.state != "later"}
        return render(request, "web/reminders/job.html", context)


def item_of(link: JobLink) -> DueItem | None:
    today = timezone.localdate(timezone=Mill.current().zone)
    found = [
        item
        for item in items_without_cautions(as_of=today, press_ids=[link.press_id])
        if item.rule_id == link.rule_id and thing_of(item) == link.thing
    ]
    return next(iter(with_their_cautions(found[:1])), None)


@public
@csrf_exempt  # the token authorises; a mail program that posts it has no cookie (RFC 8058, 3.2)
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Stop the mails to the recipient. GET shows a button; POST does it and is idempotent."""
    try:
        link = read_stop(token)
    except BadLink:
        return render(request, "web/reminders/stop.html", {"state": "bad"}, status=404)
    person = User.objects.filter(pk=link.person_id).first()
    with translation.override(language_of(person)):
        if request.method == "POST":
            stopped = stop_reminders(link=link, at=timezone.now())
            return render(
                request, "web/reminders/stop.html", {"state": "stopped" if stopped else "elsewhere"}
            )
        if person is None or not link.is_still_of(person):
            return render(request, "web/reminders/stop.html", {"state": "elsewhere"})
        state = "ask" if person.gets_mail else "stopped"
        return render(request, "web/reminders/stop.html", {"state": state, "address": person.email})
