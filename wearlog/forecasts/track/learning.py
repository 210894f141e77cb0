"""Once a day: compare past forecasts with outcomes, and move the ends of future ranges accordingly.

What is learned on a day applies from that day on, so that a forecast for an earlier day never uses it.
Replays are stored; only those whose log has changed are computed again.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

from django.db import transaction

from wearlog.calc.conformal import JudgedFactors, SideFactors
from wearlog.forecasts.memory.refresh import today
from wearlog.forecasts.track.record import Past, learned_from
from wearlog.forecasts.track.replays import catch_up_day
from wearlog.history import versions
from wearlog.history.log import load_log
from wearlog.history.models import LearnedFactors

Content = tuple[int | None, float, float, dict[str, float] | None]


def learned_today(*, at: datetime) -> bool:
    return LearnedFactors.objects.filter(checked_on__gte=today(at)).exists()


def learn(*, at: datetime, go_on: Callable[[], bool] = lambda: True) -> bool:
    """Bring the replays up to date with the log as it stood last night, then store the factors by which the
    two sides of ranges are corrected from today on. Stops when `go_on` returns False; the next call
    continues. True once done."""
    day = today(at)
    log = load_log()
    past = Past.of(log, day - timedelta(days=1))
    forecasts = {}
    for replayed in past.days:
        if not go_on():
            return False
        forecasts[replayed] = catch_up_day(log, replayed, checked_on=day)
    new = _rows(learned_from(past, forecasts).judged, since=day)
    with transaction.atomic():
        last = in_force_on(day)
        if last and [(*_content(row), row.judged) for row in last] == [
            (*_content(row), row.judged) for row in new
        ]:
            LearnedFactors.objects.filter(since=last[0].since).update(checked_on=day)
        else:
            LearnedFactors.objects.filter(since=day).delete()
            LearnedFactors.objects.bulk_create(new)
        if [_content(row) for row in new] != ([_content(row) for row in last] or [(None, 1.0, 1.0, None)]):
            versions.touch(versions.Change(setup=True))
    return True


def in_force_on(day: date) -> list[LearnedFactors]:
    """The rows that apply on a day: that of all kinds together, then those of part types in the order of
    their keys. Empty where nothing had been learned yet."""
    last = LearnedFactors.objects.filter(since__lte=day, part_type=None).order_by("-since").first()
    if last is None:
        return []
    own = LearnedFactors.objects.filter(since=last.since).exclude(part_type=None)
    return [last, *own.select_related("part_type").order_by("part_type_id")]


def _rows(found: JudgedFactors, *, since: date) -> list[LearnedFactors]:
    """In the order of `in_force_on`."""
    sides: list[tuple[int | None, SideFactors, int]] = [(None, found.factors.pooled, found.judged)]
    sides += [(key, own, found.judged_of[key]) for key, own in found.factors.own.items()]
    return [
        LearnedFactors(
            since=since,
            part_type_id=key,
            early=own.early,
            late=own.late,
            weights=(found.factors.weights or None) if key is None else None,
            judged=judged,
            checked_on=since,
        )
        for key, own, judged in sides
    ]


def _content(row: LearnedFactors) -> Content:
    return row.part_type_id, row.early, row.late, row.weights
