"""Queries for runs, readings and the usual rate of a press."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import TypeVar

from django.db.models import F, Model, OuterRef, Q, QuerySet, TextField
from django.db.models.functions import Cast

from wearlog.equipment.models import Press
from wearlog.equipment.queries import first_of_each_press
from wearlog.runs import hours
from wearlog.runs.columns import JoinedRows
from wearlog.runs.models import Crop, Reading, Run, ShiftNote

Row = TypeVar("Row", bound=Model)

RUNS_FOR_A_RATE = 20
"""The usual rate is the median of at most this many of the latest runs."""
RUNS_THAT_SAY_USUAL = 3
"""With fewer runs than this there is no usual rate."""
RUNS_WITH_RECENT_CROPS = 60
"""A press's recent crops are those of this many of its latest runs."""


def last_run(press: Press) -> Run | None:
    """The run of the press that started last, ended or not, without voided runs."""
    return Run.objects.of(press).select_related("crop").order_by("-started_at", "-pk").first()


def running_runs(press: Press | None = None) -> QuerySet[Run]:
    """Runs that have started and not ended, of one press or of all."""
    runs = Run.objects.running().select_related("press", "crop", "entered_by").order_by("started_at")
    return runs if press is None else runs.filter(press=press)


def latest_runs(press: Press | None = None, *, limit: int = 20) -> QuerySet[Run]:
    """The latest runs that are not voided, newest first."""
    runs = (
        Run.objects.not_voided().select_related("press", "crop", "entered_by").order_by("-started_at", "-pk")
    )
    return (runs if press is None else runs.filter(press=press))[:limit]


def last_ended_runs(press_ids: Collection[int]) -> dict[int, Run]:
    """By press, the run that started last of those that have ended, without voided runs; one query."""
    ended = Run.objects.not_voided().filter(ends_at__isnull=False).select_related("crop")
    return {run.press_id: run for run in first_of_each_press(ended, press_ids, "-started_at", "-pk")}


def recent_crops(press_ids: Collection[int]) -> dict[int, list[int]]:
    """By press, the primary keys of the crops of its latest runs, ended or not, without voided ones. The
    newest comes first, each comes once. One query, which reads only these runs."""
    latest = (
        Run.objects.not_voided()
        .filter(press=OuterRef("pk"))
        .order_by("-started_at", "-pk")
        .values(listed=Cast("crop_id", TextField()))[:RUNS_WITH_RECENT_CROPS]
    )
    rows = Press.objects.filter(pk__in=press_ids).order_by().values_list("pk", JoinedRows(latest))
    return {pk: list(dict.fromkeys(int(crop) for crop in (crops or "").split())) for pk, crops in rows}


def last_readings(press_ids: Collection[int]) -> dict[int, Reading]:
    """By press, the latest reading of its meter that is not voided; one query."""
    readings = first_of_each_press(Reading.objects.not_voided(), press_ids, "-read_at")
    return {reading.press_id: reading for reading in readings}


def last_reading(press: Press) -> Reading | None:
    """The latest reading of the press's meter that is not voided."""
    return last_readings([press.pk]).get(press.pk)


def reading_before(press_id: int, instant: datetime, *, exclude: int | None = None) -> Reading | None:
    """The last reading before the instant that is not voided."""
    readings = Reading.objects.not_voided().filter(press_id=press_id, read_at__lt=instant)
    return _without(readings, exclude).order_by("-read_at").first()


def reading_after(press_id: int, instant: datetime, *, exclude: int | None = None) -> Reading | None:
    """The first reading after the instant that is not voided."""
    readings = Reading.objects.not_voided().filter(press_id=press_id, read_at__gt=instant)
    return _without(readings, exclude).order_by("read_at").first()


def _without(rows: QuerySet[Row], pk: int | None) -> QuerySet[Row]:
    return rows if pk is None else rows.exclude(pk=pk)


def reading_at_end(run: Run) -> Reading | None:
    """The reading that was stored with a run logged by the meter: the one at the run's end; else None."""
    if run.ends_at is None or run.hours_h is not None:
        return None
    return Reading.objects.not_voided().filter(press_id=run.press_id, read_at=run.ends_at).first()


@dataclass(frozen=True)
class UsualRate:
    """The median kilograms of seed per hour over the latest runs of a press and crop."""

    kg_per_h: float
    runs: int


def usual_rate(
    press: Press, crop: Crop, *, slot: int | None = None, exclude: int | None = None
) -> UsualRate | None:
    """The usual rate of this crop on this press, from its latest runs; None with fewer than three.

    Purges, empty runs, runs shorter than a quarter of an hour, and runs whose seed was worked out from this
    very rate are left out. `slot` restricts it to runs through the same barrels; `exclude` leaves one run
    out.
    """
    runs = Run.objects.of(press).with_usable_rate().filter(crop=crop)
    if slot is not None:
        runs = runs.filter(slot=slot)
    if exclude is not None:
        runs = runs.exclude(pk=exclude)
    return rate_of(list(runs.order_by("-ends_at", "-pk")[:RUNS_FOR_A_RATE]))


def rate_of(latest: Sequence[Run]) -> UsualRate | None:
    """The median rate of these runs; None where fewer than three have hours of a quarter of an hour or
    more."""
    rates = [
        float(run.seed_kg) / known.hours_h
        for run, known in zip(latest, hours.of_runs(latest), strict=True)
        if known.hours_h is not None and known.hours_h >= 0.25
    ]
    if len(rates) < RUNS_THAT_SAY_USUAL:
        return None
    return UsualRate(median(rates), len(rates))


def run_at(press: Press, *, at: datetime) -> Run | None:
    """The run in progress at the instant, else the last one that started before it."""
    return (
        Run.objects.of(press)
        .filter(started_at__lte=at)
        .select_related("crop")
        .order_by("-started_at", "-pk")
        .first()
    )


def last_crop(press: Press, *, at: datetime | None = None) -> Crop | None:
    """The crop that the press pressed last, or that it pressed at an instant or last before it."""
    run = last_run(press) if at is None else run_at(press, at=at)
    return run.crop if run is not None else None


def last_shift_note(press: Press | None = None) -> ShiftNote | None:
    """The latest note about the press or about the whole mill; without a press, the latest of all."""
    notes = ShiftNote.objects.not_voided().select_related("press").order_by("-written_at", "-pk")
    if press is not None:
        notes = notes.filter(Q(press=press) | Q(press__isnull=True))
    return notes.first()


def run_in_the_way(
    press_id: int,
    slot: int,
    start: datetime,
    end: datetime | None,
    *,
    exclude: int | None = None,
) -> Run | None:
    """A run through a barrel of `slot` that overlaps [start, end) and is not voided, or None.

    Runs through one barrel don't overlap, so they end in the order in which they start. Of those that end
    after `start` only the first can overlap. Finding it is one step in an index, however long the log is.
    """
    runs = _without(Run.objects.not_voided().filter(press_id=press_id), exclude)
    runs = runs.select_related("press", "crop")
    candidates: list[Run] = list(runs.filter(ends_at__isnull=True, slot__in=slots_sharing_a_barrel(slot)))
    for barrel in (1, 2) if slot == 0 else (slot,):
        ended = runs.filter(Q(ends_at__gt=F("started_at")), slot__in=(0, barrel), ends_at__gt=start)
        candidates += ended.order_by("ends_at")[:1]
    return next((run for run in candidates if end is None or run.started_at < end), None)


def last_ended_before(press_id: int, slot: int, instant: datetime) -> Run | None:
    """The last run through a barrel of `slot` that ended before the instant, without voided runs."""
    run: Run | None = (
        Run.objects.not_voided()
        .filter(press_id=press_id, slot__in=slots_sharing_a_barrel(slot), ends_at__lt=instant)
        .select_related("press", "crop")
        .order_by("-ends_at")
        .first()
    )
    return run


def slots_sharing_a_barrel(slot: int) -> Sequence[int]:
    """The slots that share a barrel with this one: 0 is all barrels, 1 and 2 are one each."""
    return (0, 1, 2) if slot == 0 else (0, slot)


def entered_late(
    *, since: datetime, until: datetime, by: timedelta
) -> list[tuple[int, int | None, datetime]]:
    """(press, person, when entered) of each run that was entered in (since, until] and had ended by more than
    `by` before."""
    entered = Run.objects.not_voided().filter(
        entered_at__gt=since, entered_at__lte=until, ends_at__lt=until - by
    )
    rows = entered.values_list("press_id", "entered_by_id", "entered_at", "ends_at")
    return [
        (press_id, person_id, entered_at)
        for press_id, person_id, entered_at, ends_at in rows
        if entered_at is not None and ends_at is not None and ends_at < entered_at - by
    ]
