"""The whole life of one part, in order of time: where it worked, what was done to it, what it was gauged at,
and how many hours and how much seed it had behind it each time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.utils.translation import gettext as _

from wearlog.compare import worked
from wearlog.compare.ages import ages_of
from wearlog.compare.worked import Work
from wearlog.equipment.models import Fitting, Part
from wearlog.equipment.queries import history_of
from wearlog.forecasts.guessed import Guessed, guessed_in
from wearlog.forecasts.things import spans_of
from wearlog.history.record import NOTHING_EARLIER, Earlier, Record
from wearlog.people.models import LogRecord
from wearlog.runs.seasons import season_name, season_span, season_years
from wearlog.service.models import Measurement, Service
from wearlog.service.queries import incidents_beside, measurements_of, services_of
from wearlog.service.work import Action
from wearlog.words.kinds import with_edge
from wearlog.words.records import gauge_value_words, words_of


@dataclass(frozen=True)
class Stay:
    """One fitting with what the part worked there; `work` is None for one that begins after the day."""

    fitting: Fitting
    work: Work | None


@dataclass(frozen=True)
class Event:
    """What happened, with the hours and the seed (kg) that the part had worked by then, this log or not."""

    at: datetime
    text: str
    by: str
    hours_h: float
    seed_kg: float


@dataclass(frozen=True)
class WholeLife:
    """`edges` has what each edge worked, in the order of their names; `seasons` what the part worked from one
    season start to the next. `earlier` is what it had worked before this log, which is part of `total` and
    of every event, but of no stay, edge or season. `crossed_out` counts entries about it that no longer
    count."""

    total: Work
    earlier: Earlier
    stays: tuple[Stay, ...]
    edges: tuple[tuple[str, Work], ...]
    seasons: tuple[tuple[str, Work], ...]
    events: tuple[Event, ...]
    guessed: Guessed
    crossed_out: int


def whole_life(record: Record, part: Part, *, start: tuple[int, int], system: str) -> WholeLife:
    """The life of the part up to the end of the record's day. start: month and day on which a season begins;
    system: the units of the words. A bounded number of queries."""
    rows = record.fittings_of.get(part.pk, ())
    work = worked.of_spans(record, rows)
    earlier = record.earlier.get(part.pk, NOTHING_EARLIER)
    fittings = list(history_of(part))
    logged = sum(work.values(), worked.NOTHING)
    return WholeLife(
        total=Work(earlier.worked_h, earlier.seed_kg, ()) + logged,
        earlier=earlier,
        stays=tuple(Stay(fitting, work.get(fitting.pk)) for fitting in fittings),
        edges=tuple(
            (edge, sum((work[row.id] for row in rows if row.edge == edge or not edge), worked.NOTHING))
            for edge in part.part_type.edge_names
        ),
        seasons=tuple(_by_season(record, part.pk, start)),
        events=tuple(_events(record, part, fittings, earlier, system)),
        guessed=guessed_in(record, spans_of(record, rows)),
        crossed_out=_crossed_out(part),
    )


def _by_season(record: Record, part_id: int, start: tuple[int, int]) -> list[tuple[str, Work]]:
    """The seasons from the first in which the part was fitted to the last, those without work left out."""
    rows = record.fittings_of.get(part_id, ())
    if not rows:
        return []
    ends = [record.end if row.removed is None else row.removed for row in rows]
    first, last = season_years(np.array([rows[0].fitted, max(ends) - 1.0]), start, record.zone).tolist()
    found = []
    for year in range(first, last + 1):
        begins, until = season_span(year, start, record.zone)
        inside = [row for row, end in zip(rows, ends, strict=True) if row.fitted < until and end > begins]
        work = worked.of_spans(record, inside, since=begins, until=until)
        whole = sum(work.values(), worked.NOTHING)
        if whole.hours_h or whole.seed_kg:
            found.append((season_name(year, start), whole))
    return found


def _events(
    record: Record, part: Part, fittings: Sequence[Fitting], earlier: Earlier, system: str
) -> list[Event]:
    happened: list[tuple[datetime, str, str]] = []
    for fitting in fittings:
        place, by = with_edge(str(fitting.position), fitting.edge), str(fitting.entered_by or "")
        happened.append((fitting.fitted_at, _("Fitted on %(place)s") % {"place": place}, by))
        if fitting.removed_at is not None:
            happened.append((fitting.removed_at, _("Taken off %(place)s") % {"place": place}, by))
    gauges = list(measurements_of(part))
    told = {gauge.service_id for gauge in gauges}
    entries: list[tuple[datetime, LogRecord]] = [
        *((one.done_at, one) for one in services_of(part) if not (one.pk in told and _only_gauged(one))),
        *((one.happened_at, one) for one in incidents_beside(part)),
    ]
    happened += [(at, words_of(entry, system).with_note, _by(entry)) for at, entry in entries]
    happened += _gauged(gauges, system)
    known = _by_instant(one for one in happened if one[0].timestamp() < record.end)
    ages = ages_of(record, [(part.pk, at.timestamp()) for at, _texts, _names in known])
    return [
        Event(at, texts, names, earlier.worked_h + hours, earlier.seed_kg + seed)
        for (at, texts, names), hours, seed in zip(
            known, ages.hours_h.tolist(), ages.seed_kg.tolist(), strict=True
        )
    ]


def _gauged(gauges: Iterable[Measurement], system: str) -> list[tuple[datetime, str, str]]:
    """What was gauged at one edge in one go, together: `Edge A: at least 10.10 mm; below 10.20 mm`."""
    found: dict[tuple[datetime, str, str], list[str]] = {}
    for gauge in sorted(gauges, key=lambda one: (one.measured_at, one.value_mm)):
        words = gauge_value_words(gauge, system)
        key = (gauge.measured_at, gauge.edge, _by(gauge))
        found.setdefault(key, []).append(f"{words}: {gauge.note}" if gauge.note else words)
    return [
        (at, _("Edge %(edge)s: %(values)s") % {"edge": edge, "values": "; ".join(values)}, by)
        if edge
        else (at, _("Gauged: %(values)s") % {"values": "; ".join(values)}, by)
        for (at, edge, by), values in found.items()
    ]


def _by_instant(happened: Iterable[tuple[datetime, str, str]]) -> list[tuple[datetime, str, str]]:
    """In order of time; what happened in the same minute as one, with the names of all who logged it."""
    found: dict[datetime, tuple[list[str], list[str]]] = {}
    for at, text, by in sorted(happened, key=lambda one: one[0]):
        texts, names = found.setdefault(at.replace(second=0, microsecond=0), ([], []))
        texts.append(text)
        if by and by not in names:
            names.append(by)
    return [(at, ". ".join(texts), ", ".join(names)) for at, (texts, names) in found.items()]


def _only_gauged(work: Service) -> bool:
    """Whether the gauges that belong to the work say all of it."""
    return work.action == Action.MEASURE and not work.finding and not work.note


def _by(entry: LogRecord) -> str:
    work = entry.service if isinstance(entry, Measurement) else entry
    named = work.done_by if isinstance(work, Service) else ""
    return named or str(entry.entered_by or "")


def _crossed_out(part: Part) -> int:
    """Entries about the part that were crossed out, fittings included."""
    return sum(
        model.objects.filter(part=part, voided_at__isnull=False).count()
        for model in (Fitting, Service, Measurement)
    )
