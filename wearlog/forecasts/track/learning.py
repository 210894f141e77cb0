"""Once a day: compare past forecasts with outcomes, and widen future ranges where past ones held too seldom.

What is learned on a day applies from that day on, so that a forecast for an earlier day never uses it.
Replays are stored; only those whose log has changed are computed again.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import transaction

from wearlog.forecasts.memory.refresh import today
from wearlog.forecasts.track.record import Past, widening_factor
from wearlog.forecasts.track.replays import catch_up_day
from wearlog.history import versions
from wearlog.history.log import load_log
from wearlog.history.models import Widening


def learned_today(*, at: datetime) -> bool:
    return Widening.objects.filter(checked_on__gte=today(at)).exists()


def learn(*, at: datetime, go_on: Callable[[], bool] = lambda: True) -> bool:
    """Bring the replays up to date with the log as it stood last night, then store the factor by which ranges
    are widened from today on. Stops when `go_on` returns False; the next call continues. True once done."""
    day = today(at)
    log = load_log()
    past = Past.of(log, day - timedelta(days=1))
    forecasts = {}
    for replayed in past.days:
        if not go_on():
            return False
        forecasts[replayed] = catch_up_day(log, replayed, checked_on=day)
    factor, judged = widening_factor(past, forecasts)
    with transaction.atomic():
        last = Widening.objects.filter(since__lte=day).order_by("-since").first()
        if last is not None and (last.factor, last.judged) == (factor, judged):
            Widening.objects.filter(pk=last.pk).update(checked_on=day)
        else:
            new = {"factor": factor, "judged": judged, "checked_on": day}
            Widening.objects.update_or_create(since=day, defaults=new)
        if factor != (1.0 if last is None else last.factor):
            versions.touch(versions.Change(setup=True))
    return True
