"""What people say about a due item: seen, hold it back until a day, give it to somebody.

Each mark is about one cycle of the item; work that is done begins a new cycle without marks. The item is
given by its key (`keys.item_key`) from the page; if it has been done or corrected in the meantime, the mark
is refused. All functions that write raise Refused and NotAllowed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.people.words import day
from wearlog.reminders.models import Mark, MarkKind
from wearlog.reminders.models.marks import LONGEST_REASON
from wearlog.reminders.outbox.calls import Call, Marks, calls_now, marks_of
from wearlog.reminders.outbox.keys import item_key, thing_of

LONGEST_HOLD = timedelta(days=366)
ON_PAGES = timedelta(days=800)
"""Older marks are ignored, as their cycles ended long ago."""


def mark_seen(*, by: User, at: datetime, key: str) -> Mark:
    """Record that the person has seen the item in its present stage (an overdue one: this week) and needs no
    more mail about it until the next. Idempotent: a repetition returns the first mark."""
    require(by, Permission.LOG)
    call = _call(key, at)
    with transaction.atomic():
        mark = _new(call, MarkKind.SEEN, by=by, at=at)
        mark.telling = call.seen_as
        said = Mark.objects.open().filter(item_key=key, kind=MarkKind.SEEN, telling=mark.telling, made_by=by)
        first: Mark | None = said.first()
        return first or _save(mark, by=by, at=at, action="mark seen")


def hold_back(*, by: User, at: datetime, key: str, until_on: date | None, reason: str) -> Mark:
    """Hold the item back: nobody is reminded before that day, and everybody again from then on. Replaces an
    earlier hold-back."""
    require(by, Permission.LOG)
    today = _today(at)
    reason = reason.strip()
    if until_on is None or until_on <= today:
        raise Refused(_("Choose a day after today, before which nobody is reminded."), field="until_on")
    if until_on - today > LONGEST_HOLD:
        raise Refused(
            _("Hold it back for a year at most, until %(day)s; for longer change the rule.")
            % {"day": day(today + LONGEST_HOLD)},
            field="until_on",
        )
    if not reason:
        raise Refused(_("Say why it has to wait, for those who find it later."), field="reason")
    if len(reason) > LONGEST_REASON:
        raise Refused(
            _("Say it in %(most)s letters at most.") % {"most": LONGEST_REASON},
            field="reason",
        )
    call = _call(key, at)
    with transaction.atomic():
        _end_open(key, MarkKind.HELD, by=by, at=at)
        mark = _new(call, MarkKind.HELD, by=by, at=at)
        mark.until_on, mark.reason = until_on, reason
        return _save(mark, by=by, at=at, action="hold back")


def give_to(*, by: User, at: datetime, key: str, person: User | None, reason: str = "") -> Mark:
    """Give the item to a person: only they are reminded; others see it in their lists and on the pages.
    Giving it to the same person again returns the existing mark."""
    require(by, Permission.LOG)
    if person is None or not person.is_active or not allows(person, Permission.LOG):
        raise Refused(_("Choose somebody who may log work here."), field="person")
    call = _call(key, at)
    with transaction.atomic():
        given = Mark.objects.open().filter(item_key=key, kind=MarkKind.GIVEN)
        given_before: Mark | None = given.first()
        if given_before is not None and given_before.given_to_id == person.pk:
            return given_before
        _end_open(key, MarkKind.GIVEN, by=by, at=at)
        mark = _new(call, MarkKind.GIVEN, by=by, at=at)
        mark.given_to, mark.reason = person, reason.strip()[:LONGEST_REASON]
        return _save(mark, by=by, at=at, action="give")


def take_back(*, by: User, at: datetime, mark_id: int) -> Mark:
    """End a mark; its row is kept. A mark that has already ended is left as it is."""
    require(by, Permission.LOG)
    with transaction.atomic():
        mark: Mark | None = Mark.objects.select_for_update().filter(pk=mark_id).first()
        if mark is None:
            raise Refused(_("That mark is not here. Look at the list again."))
        if mark.ended_at is None:
            _end(mark, by=by, at=at)
        return mark


def marks_on_pages(*, at: datetime, today: date) -> Mapping[str, Marks]:
    """The recent marks of every item, by item key; one query."""
    found: dict[str, list[Mark]] = defaultdict(list)
    open_marks = Mark.objects.open().filter(made_at__gt=at - ON_PAGES)
    for mark in open_marks.select_related("made_by", "given_to"):
        found[mark.item_key].append(mark)
    return {key: marks_of(said, today) for key, said in found.items()}


def _today(at: datetime) -> date:
    return at.astimezone(Mill.current().zone).date()


def _call(key: str, at: datetime) -> Call:
    """The item as of now, computed before any transaction begins."""
    for call in calls_now(at=at):
        if item_key(call.item) == key:
            return call
    raise Refused(
        _("That work is not due any more: it was done or corrected meanwhile. Look at the list again.")
    )


def _new(call: Call, kind: MarkKind, *, by: User, at: datetime) -> Mark:
    return Mark(
        item_key=item_key(call.item),
        kind=kind,
        rule=call.item.rule,
        press=call.item.press,
        thing=call.item.part or call.item.position or thing_of(call.item),
        made_at=at,
        made_by=by,
    )


def _save(mark: Mark, *, by: User, at: datetime, action: str) -> Mark:
    try:
        with transaction.atomic():
            mark.save()
    except IntegrityError as error:
        raise Refused(_("Somebody has just said something else of it. Look at it again.")) from error
    audit.write(at=at, by=by, action=action, record=mark, new=audit.snapshot(mark), reason=mark.reason)
    return mark


def _end_open(key: str, kind: MarkKind, *, by: User, at: datetime) -> None:
    for mark in Mark.objects.select_for_update().filter(item_key=key, kind=kind, ended_at__isnull=True):
        _end(mark, by=by, at=at)


def _end(mark: Mark, *, by: User, at: datetime) -> None:
    old = audit.snapshot(mark)
    mark.ended_at, mark.ended_by = at, by
    mark.save(update_fields=["ended_at", "ended_by"])
    audit.write(at=at, by=by, action="take back", record=mark, old=old, new=audit.snapshot(mark))
