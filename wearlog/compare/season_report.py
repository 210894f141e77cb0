"""What a mill or one of its presses did in a season, beside the season before: pressing, work, parts and
incidents."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from wearlog.compare.ages import ages_of
from wearlog.compare.queries import GROUPS, Line, compare_each, season_names
from wearlog.equipment.models import Fitting, Part, Press
from wearlog.history.record import Record
from wearlog.runs.seasons import SEASON_START, parse_start, season_name, season_span
from wearlog.service.models import Incident
from wearlog.service.queries import incidents_counted, work_counted


@dataclass(frozen=True)
class WorkDone:
    """Work of one kind: how often, and what was written down of its hours and of how long the press stood,
    None for nothing."""

    action: str
    times: int
    labour_h: float | None
    stood_h: float | None


@dataclass(frozen=True)
class GoneFromUse:
    """A part that was retired in the season, and all that it had worked in this log. `last_on` is where it
    sat last, None for one that never was fitted."""

    part: Part
    last_on: Fitting | None
    hours_h: float
    seed_kg: float


@dataclass(frozen=True)
class CropLine:
    """A crop in this season and in the one before; None for a season in which it was not pressed."""

    crop: str
    now: Line | None
    before: Line | None


@dataclass(frozen=True)
class Chapter:
    """The season of one press, or of the whole mill where `press` is None."""

    press: Press | None
    now: Line | None
    before: Line | None
    crops: tuple[CropLine, ...]
    work: tuple[WorkDone, ...]
    gone: tuple[GoneFromUse, ...]
    incidents: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class SeasonReport:
    """`first` and `last` are the days of the season; `is_over` is False for the season of the record's day.
    `names` are all seasons with runs, the newest first."""

    season: str
    before: str
    first: date
    last: date
    is_over: bool
    of_one_press: bool
    names: tuple[str, ...]
    mill: Chapter
    presses: tuple[Chapter, ...]
    currency: str


def season_report(
    record: Record, everywhere: Sequence[Press], *, season: str = "", press: str = "", money: bool = False
) -> SeasonReport | None:
    """The report of a season by name, else of the newest with runs; of one press by code, else of the mill
    with a chapter for each press. everywhere: all presses in their order. None where there is no run, no
    such season or no such press. A bounded number of queries."""
    start = parse_start(SEASON_START)
    names = season_names()
    season = season or (names[0] if names else "")
    presses = [one for one in everywhere if not press or one.code == press]
    if season not in names or not presses:
        return None
    year = int(season.split("/")[0])
    before = season_name(year - 1, start)
    totals, found, of_crops, by_crop = compare_each(
        [("season",), ("press", "season"), ("crop", "season"), GROUPS],
        seasons=(season, before),
        presses=(press,) if press else (),
        money_on=record.as_of if money else None,
    )
    begins, ends = season_span(year, start, record.zone)
    span = (datetime.fromtimestamp(begins, UTC), datetime.fromtimestamp(ends, UTC))
    work, incidents = _work(presses, span), _incidents(presses, span)
    gone = _gone(record, presses, record.day_of(begins), record.day_of(ends - 1))
    chapters = []
    for one in presses:
        lines = [line for line in found.lines if line.press == one.code]
        crops = [line for line in by_crop.lines if line.press == one.code]
        chapters.append(
            Chapter(
                press=one,
                now=_of(lines, season),
                before=_of(lines, before),
                crops=_crops(crops, season, before),
                work=tuple(work.get(one.pk, ())),
                gone=tuple(row for row in gone if row.last_on and row.last_on.position.press_id == one.pk),
                incidents=tuple(incidents.get(one.pk, ())),
            )
        )
    mill = Chapter(
        press=None,
        now=_of(totals.lines, season),
        before=_of(totals.lines, before),
        crops=_crops(of_crops.lines, season, before),
        work=_together(row for rows in work.values() for row in rows),
        gone=tuple(gone),
        incidents=_counted(pair for pairs in incidents.values() for pair in pairs),
    )
    return SeasonReport(
        season=season,
        before=before,
        first=record.day_of(begins),
        last=record.day_of(ends - 1),
        is_over=ends <= record.end,
        of_one_press=bool(press),
        names=names,
        mill=mill,
        presses=tuple(one for one in chapters if one.now or one.work or one.gone or one.incidents),
        currency=found.currency,
    )


def _of(lines: Iterable[Line], season: str) -> Line | None:
    return next((line for line in lines if line.season == season), None)


def _crops(lines: Sequence[Line], season: str, before: str) -> tuple[CropLine, ...]:
    """The crops of both seasons, those pressed most in this one first."""
    names = sorted({line.crop for line in lines})
    found = []
    for crop in names:
        own = [line for line in lines if line.crop == crop]
        found.append(CropLine(crop, _of(own, season), _of(own, before)))
    return tuple(sorted(found, key=lambda one: -(one.now.seed_kg if one.now else 0.0)))


def _work(presses: Sequence[Press], span: tuple[datetime, datetime]) -> Mapping[int, list[WorkDone]]:
    found: dict[int, list[WorkDone]] = defaultdict(list)
    for press, action, times, labour, stood in work_counted(presses, *span):
        found[press].append(WorkDone(action, times, _number(labour), _number(stood)))
    return found


def _number(value: object) -> float | None:
    return None if value is None else float(str(value))


def _together(rows: Iterable[WorkDone]) -> tuple[WorkDone, ...]:
    found: dict[str, WorkDone] = {}
    for row in rows:
        had = found.get(row.action, WorkDone(row.action, 0, None, None))
        found[row.action] = WorkDone(
            row.action,
            had.times + row.times,
            _sum(had.labour_h, row.labour_h),
            _sum(had.stood_h, row.stood_h),
        )
    return tuple(sorted(found.values(), key=lambda row: (-row.times, row.action)))


def _sum(one: float | None, other: float | None) -> float | None:
    return other if one is None else one if other is None else one + other


def _incidents(
    presses: Sequence[Press], span: tuple[datetime, datetime]
) -> Mapping[int, list[tuple[str, int]]]:
    """By press: how often each kind of incident came, in words."""
    words = dict(Incident._meta.get_field("kind").flatchoices)
    found: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for press_id, kind, times in incidents_counted(presses, *span):
        found[press_id].append((str(words[kind]), times))
    return found


def _counted(pairs: Iterable[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    found: dict[str, int] = defaultdict(int)
    for words, times in pairs:
        found[words] += times
    return tuple(sorted(found.items(), key=lambda pair: (-pair[1], pair[0])))


def _gone(record: Record, presses: Sequence[Press], first: date, last: date) -> list[GoneFromUse]:
    """The parts retired from the first to the last day, by day; with one press only those that sat there
    last."""
    parts = list(
        Part.objects.filter(retired_on__gte=first, retired_on__lte=last)
        .select_related("part_type")
        .order_by("retired_on", "code")
    )
    last_on = {
        fitting.part_id: fitting
        for fitting in Fitting.objects.not_voided()
        .filter(part__in=parts)
        .select_related("position__press")
        .order_by("fitted_at")
    }
    ages = ages_of(record, [(part.pk, record.end) for part in parts])
    rows = [
        GoneFromUse(part, last_on.get(part.pk), hours, seed)
        for part, hours, seed in zip(parts, ages.hours_h.tolist(), ages.seed_kg.tolist(), strict=True)
    ]
    keys = {press.pk for press in presses}
    everywhere = len(keys) != 1
    return [row for row in rows if everywhere or (row.last_on and row.last_on.position.press_id in keys)]
