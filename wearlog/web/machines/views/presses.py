"""All presses, and one press: its drawing, hours and seed, due tasks, and its last log lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from wearlog.compare import worked
from wearlog.compare.queries import Line
from wearlog.equipment.models import Press
from wearlog.equipment.queries import Seat as SeatRow
from wearlog.equipment.queries import seats_of
from wearlog.forecasts.items import STATES, DueItem, WearFigure
from wearlog.forecasts.memory.queries import (
    forecast_of_day,
    items_of_fleet,
    items_without_cautions,
    with_their_cautions,
)
from wearlog.history.log import open_fitting_row
from wearlog.history.record import Record
from wearlog.lockout.cautions.queries import Cautions, cautions_for, isolation_point
from wearlog.people.roles import Permission
from wearlog.runs.models import Run
from wearlog.runs.queries import running_runs
from wearlog.service.models import Service
from wearlog.service.queries import open_holds, work_on
from wearlog.web.drawing import press as drawing
from wearlog.web.drawing.charts.shown import throughput_chart
from wearlog.web.drawing.charts.throughput import MARKED
from wearlog.web.machines import figures
from wearlog.web.site import isolations, log_lines
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import Frame, framed
from wearlog.web.site.parted import Parted
from wearlog.words.hours import meter_lines
from wearlog.words.kinds import seat_words


@dataclass(frozen=True)
class PressLine:
    """One press of the list."""

    press: Press
    runs: list[Run]
    work: worked.Work
    season: Line | None
    due: list[tuple[str, int]]


@needs(Permission.VIEW)
def presses(request: MillRequest) -> HttpResponse:
    today = timezone.localdate()
    record = forecast_of_day(as_of=today).ground.record
    everything = list(Press.objects.order_by("code"))
    shown = [press for press in everything if press.retired_on is None or press.retired_on > today]
    part = Parted.of(request, "presses", shown)
    keys = [press.pk for press in part.rows]
    seasons, work = figures.season_lines(record, keys), worked.of_presses(record, keys)
    counts: dict[int, Counter[str]] = {}
    fleet = items_of_fleet(as_of=today, press_ids=keys)
    for item in fleet.items:
        counts.setdefault(item.press_id, Counter())[item.state] += 1
    running: dict[int, list[Run]] = {}
    for run in running_runs():
        running.setdefault(run.press_id, []).append(run)
    lines = [
        PressLine(
            press=press,
            runs=running.get(press.pk, []),
            work=work[press.pk],
            season=seasons.get(press.pk),
            due=[
                (state, counts[press.pk][state])
                for state in ("overdue", "due", "coming")
                if press.pk in counts and counts[press.pk][state]
            ],
        )
        for press in part.rows
    ]
    retired = [press for press in everything if press.retired_on is not None and press.retired_on <= today]
    return render(
        request,
        "web/machines/presses.html",
        {
            "lines": lines,
            "part": part,
            "retired": retired,
            "season": figures.season_of(record),
            "behind": fleet.behind,
        },
    )


@dataclass(frozen=True)
class SeatLine:
    """A position in the list next to the drawing: the part fitted there and its condition."""

    number: int
    seat: SeatRow
    url: str
    label: str
    wear: WearFigure | None
    work: worked.Work | None
    last_work: Service | None
    hours_since_work: float | None
    next_item: DueItem | None


def label_of(seat: SeatRow) -> str:
    """`left die D5-04, edge A`, or `left die: nothing fitted`."""
    place, fitting = seat.position, seat.fitting
    code, edge = (fitting.part.code, fitting.edge) if fitting is not None else (None, "")
    return seat_words(place.kind, place.name, code, edge)


def first_of(items: Sequence[DueItem]) -> DueItem | None:
    """The most urgent item: worst state first, then earliest day."""
    known = [item for item in items if item.state != "unknown"]
    return min(known, key=lambda item: (STATES.index(item.state), item.due_on or date.max), default=None)


def seat_lines(
    press: Press,
    seat_rows: Sequence[SeatRow],
    items: Sequence[DueItem],
    record: Record,
    services: Iterable[Service],
) -> tuple[list[SeatLine], drawing.PressDrawing]:
    rows = {row.position.pk: row for row in seat_rows}
    by_position: dict[int, list[DueItem]] = {}
    for item in items:
        if item.position_id is not None and item.position_id in rows:
            fitting = rows[item.position_id].fitting
            if item.part_id is None or (fitting is not None and fitting.part_id == item.part_id):
                by_position.setdefault(item.position_id, []).append(item)
    in_place = [open_fitting_row(row.fitting) for row in rows.values() if row.fitting is not None]
    work = worked.of_spans(record, [span for span in in_place if span.fitted < record.end])
    last: dict[int, Service] = {}
    fitted = {row.fitting.part_id for row in rows.values() if row.fitting is not None}
    for service in services:
        if service.part_id in fitted:
            last[service.part_id] = service
    seats = []
    for pk, row in rows.items():
        wear = next((item.wear for item in by_position.get(pk, ()) if item.wear is not None), None)
        page = (
            reverse("web:part", args=[row.fitting.part_id])
            if row.fitting is not None
            else f"{reverse('web:fitting-new')}?position={pk}"
        )
        seats.append(drawing.Seat(pk, row.position.kind, row.position.barrel, page, label_of(row), wear))
    machine = drawing.draw(seats)
    lines = []
    for callout in machine.callouts:
        row = rows[callout.seat.key]
        latest = last.get(row.fitting.part_id) if row.fitting is not None else None
        lines.append(
            SeatLine(
                number=callout.number,
                seat=row,
                url=callout.seat.url,
                label=callout.seat.label,
                wear=callout.seat.wear,
                work=work.get(row.fitting.pk) if row.fitting is not None else None,
                last_work=latest,
                hours_since_work=None
                if latest is None
                else figures.hours_since(record, press.pk, latest.done_at),
                next_item=first_of(by_position.get(callout.seat.key, ())),
            )
        )
    return lines, machine


TO_DO = ("overdue", "due", "coming")
CHARTED = timedelta(days=2 * 366)
"""How far back work is read for the chart, which shows this season or the last one that has a run."""
MOST = 20
"""How many jobs of each group are on the page; the list of everything that is due has them all."""


@dataclass(frozen=True)
class Jobs:
    """Jobs of the press that stand together: those on the page in their frame (none without jobs), how many
    there are, and how many more than on the page."""

    frames: list[Frame]
    count: int

    @property
    def more(self) -> int:
        return self.count - sum(len(frame.jobs) for frame in self.frames)


def jobs_of(items: Sequence[DueItem], cautions: Cautions) -> tuple[Jobs, Jobs, Jobs]:
    """What is to be done, what can wait, and what can't be told yet."""
    found = []
    for states in (TO_DO, ("later",), ("unknown",)):
        own = [item for item in items if item.state in states]
        found.append(Jobs(framed(own[:MOST], cautions), len(own)))
    return found[0], found[1], found[2]


@needs(Permission.VIEW)
def press(request: MillRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Press, pk=pk)
    now = timezone.now()
    today = timezone.localdate(now)
    forecast = forecast_of_day(as_of=today)
    record = forecast.ground.record
    cautions = cautions_for([shown.pk])
    items = with_their_cautions(
        items_without_cautions(as_of=today, press_ids=[shown.pk], forecast=forecast), cautions
    )
    jobs = jobs_of(items, cautions)
    rows = list(seats_of(shown))
    fitted = [row.fitting.part_id for row in rows if row.fitting is not None]
    services = list(work_on(shown, parts=fitted, actions=MARKED, since=now - CHARTED))
    seats, machine = seat_lines(shown, rows, items, record, services)
    # A task is named next to its part only if the page also shows it in full, with its caution.
    in_full = {item for part in jobs for frame in part.frames for item in frame.jobs}
    seats = [line if line.next_item in in_full else replace(line, next_item=None) for line in seats]
    return render(
        request,
        "web/machines/press.html",
        {
            "press": shown,
            "today": today,
            "work": worked.of_press(record, shown.pk),
            "season": figures.season_of(record),
            "season_line": figures.season_lines(record, [shown.pk]).get(shown.pk),
            "running": running_runs(shown),
            "holds": open_holds(shown),
            "isolations": isolations.open_at(request.user, [shown.pk]),
            "machine": machine,
            "throughput": throughput_chart(
                record, shown.pk, name=str(shown), system=str(request.units), services=services
            ),
            "seats": seats,
            "wearing": [line for line in seats if line.wear is not None],
            "to_do": jobs[0],
            "later": jobs[1],
            "unknown": jobs[2],
            "isolation_points": [isolation_point(source) for source in cautions.sources.get(shown.pk, ())],
            "reading": figures.last_reading(record, shown.pk),
            "meter": meter_lines(
                record,
                shown.pk,
                str(request.units),
                every=request.GET.get("stretches") == "all",
            ),
            "lines": log_lines.of_press(shown, system=str(request.units)),
        },
    )
