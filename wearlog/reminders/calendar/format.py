"""Writes the calendar in the format of RFC 5545. The same rows always give the same bytes.

RFC 5545 has no status for an event that has taken place, so finished work says so in its title. Tasks that no
longer exist are left out: programs replace a subscribed calendar as a whole, and some would go on showing a
cancelled event.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from icalendar import Calendar, Event, Timezone, TimezoneStandard
from icalendar.prop import vDuration, vText

from wearlog.reminders.channels.mail.words import one_line, tidy
from wearlog.reminders.models import CalendarEntry, CalendarFeed, EntryState

PRODUCT = "-//Wearlog//Service calendar//EN"
BEGINNING = datetime.combine(date(1970, 1, 1), time())
LOOK_AGAIN = timedelta(hours=1)
CONTENT_TYPE = "text/calendar; charset=utf-8"


def as_ics(feed: CalendarFeed, entries: Iterable[CalendarEntry], *, mill: str) -> bytes:
    """The whole feed; `mill` is its name. No query."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", vText(name_of(feed, mill=mill)))  # RFC 7986, 5.1
    again = vDuration(LOOK_AGAIN)
    again.params["VALUE"] = "DURATION"
    calendar.add("refresh-interval", again, encode=False)  # RFC 7986, 5.7
    for entry in entries:
        calendar.add_component(event_of(entry))
    if not calendar.subcomponents:
        calendar.add_component(nothing())
    return bytes(calendar.to_ical())


def name_of(feed: CalendarFeed, *, mill: str) -> str:
    """The calendar's name in programs, without the person's name."""
    about = feed.press.name or feed.press.code if feed.press is not None else _("all presses")
    words = {"about": about, "mill": mill or "Wearlog"}
    return one_line(_("Service: %(about)s (%(mill)s)") % words)


def event_of(entry: CalendarEntry) -> Event:
    """One all-day event that blocks no time."""
    title = _("Done: %s") % entry.task if entry.state == EntryState.DONE else entry.task
    event = Event()
    event.add("uid", str(entry.uid))
    event.add("dtstamp", entry.changed_at.astimezone(UTC))  # 3.8.7.2: without METHOD, the last revision
    event.add("created", entry.made_at.astimezone(UTC))
    event.add("last-modified", entry.changed_at.astimezone(UTC))
    event.add("sequence", entry.sequence)
    event.add("dtstart", entry.day)
    event.add("dtend", entry.day + timedelta(days=1))  # exclusive: the day after
    event.add("summary", one_line(title))
    event.add("description", tidy(f"{entry.words}\n\n{entry.caution}"))
    event.add("status", entry.status)
    event.add("transp", "TRANSPARENT")
    event.add("url", settings.SITE_URL + reverse("web:press", kwargs={"pk": entry.press_id}))
    return event


def nothing() -> Timezone:
    """A time zone for an otherwise empty calendar, which must have at least one component (3.6)."""
    zone, standard = Timezone(), TimezoneStandard()
    zone.add("tzid", "UTC")
    standard.add("dtstart", BEGINNING)
    standard.add("tzoffsetfrom", timedelta(0))
    standard.add("tzoffsetto", timedelta(0))
    zone.add_component(standard)
    return zone
