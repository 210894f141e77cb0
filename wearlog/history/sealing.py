"""Seals the runs of presses (`sealed`): workers do it, pages never."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.db import IntegrityError, connection
from django.db.models import Count, F, Max

from wearlog.equipment.models import Press
from wearlog.history import packing, versions
from wearlog.history.models import SealedRuns
from wearlog.history.runs import columns_of_runs
from wearlog.history.sealed import FOR_FORECASTS, GIVEN, GIVEN_COLUMNS, given_columns, shape, split
from wearlog.runs.models import Run

OPEN = timedelta(days=14)
"""So long before the sealing runs stay open, since most corrections are made within days."""
AGAIN = timedelta(days=35)
"""Runs are sealed again once so many days are open."""
QUIET = timedelta(minutes=10)
"""While somebody corrects old runs one after the other, a press is not sealed again after each."""
FEWEST = 300
"""A press with fewer runs to seal is read from its rows just as quickly."""
AT_ONCE = 20
"""So many presses are read at once, to bound the memory that it takes."""


def forget() -> None:
    """Take all seals away, valid or not."""
    SealedRuns.objects.all().delete()


def seal(*, at: datetime) -> int:
    """Seal the runs of the presses for which that is due. Returns their number. Does nothing within a
    transaction, whose writes may be rolled back."""
    if not shape() or connection.in_atomic_block:
        return 0
    presses = lacking(at=at)
    return sum(_seal(presses[first : first + AT_ONCE], at) for first in range(0, len(presses), AT_ONCE))


def lacking(*, at: datetime) -> list[int]:
    """The presses with enough runs to seal that have no valid seal, or an old one, and were not sealed a
    moment ago."""
    stored = SealedRuns.objects.order_by()
    valid = stored.filter(shape=shape(), press__version__runs=F("number"), until__gt=at - AGAIN)
    just_now = stored.filter(shape=shape(), made_at__gt=at - QUIET)
    fine = {*valid.values_list("press_id", flat=True), *just_now.values_list("press_id", flat=True)}
    presses = set(Press.objects.filter(version__isnull=False).values_list("pk", flat=True)) - fine
    if not presses:
        return []
    runs = Run.objects.not_voided().filter(press_id__in=presses, started_at__lt=at - OPEN).order_by()
    counted = runs.values_list("press_id").annotate(runs=Count("pk"))
    return sorted(press for press, count in counted if count >= FEWEST)


def _seal(presses: Collection[int], at: datetime) -> int:
    known = versions.latest().presses  # before anything that it is to be the version of
    until = at - OPEN
    last_run: int = Run.objects.aggregate(last=Max("pk"))["last"] or 0
    rows = Run.objects.not_voided().filter(press_id__in=presses, started_at__lt=until, pk__lte=last_run)
    table, through = columns_of_runs(rows, presses)
    runs, given = split(table, {}), split(given_columns(rows, presses, GIVEN_COLUMNS), {})
    done = 0
    for press_id in presses:
        if press_id not in known or press_id not in runs or press_id not in given:
            continue
        groups = {
            FOR_FORECASTS: packing.pack(runs[press_id], sorted(through.get(press_id, {}).items())),
            GIVEN: packing.pack(given[press_id]),
        }
        new = {"number": known[press_id].runs, "shape": shape(), "until": until, "last_run": last_run}
        _store(press_id, {**new, **groups, "made_at": at})
        done += 1
    return done


def _store(press_id: int, new: dict[str, object]) -> None:
    try:
        SealedRuns.objects.update_or_create(press_id=press_id, defaults=new)
    except IntegrityError:  # the press was deleted meanwhile
        return
