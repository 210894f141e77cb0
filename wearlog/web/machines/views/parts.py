"""All parts in a table, and one part: its edges, gauges, fittings, work and rates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django_tables2 import RequestConfig

from wearlog.calc.slips import Proposal, proposals
from wearlog.compare import worked
from wearlog.equipment.kinds import LEAVES_OIL
from wearlog.equipment.models import Fitting, Kind, Part
from wearlog.equipment.queries import history_of
from wearlog.forecasts.along import GaugeAlong, WearAlong
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.guessed import Guessed, guessed_in
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import (
    forecast_of_day,
    items_of_fleet,
    items_of_part,
)
from wearlog.forecasts.things import spans_of
from wearlog.people.roles import Permission
from wearlog.service.models import Measurement
from wearlog.service.queries import measurements_of, services_of
from wearlog.service.validation import REPEATS_TO_MM
from wearlog.web.drawing.caliper import caliper
from wearlog.web.drawing.charts.wear_shown import EdgeChart, PartCharts, part_charts
from wearlog.web.machines import figures
from wearlog.web.machines.shelf import next_when_fitted
from wearlog.web.machines.tables import PartTable
from wearlog.web.machines.views.presses import first_of
from wearlog.web.site import log_lines
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import framed
from wearlog.words.actions import work_word
from wearlog.words.days import day_words
from wearlog.words.kinds import kind_words, part_words, with_edge

STATES = (
    ("", gettext_lazy("in the mill")),
    ("fitted", gettext_lazy("on a press")),
    ("shelf", gettext_lazy("on the shelf")),
    ("retired", gettext_lazy("retired")),
)
PER_PAGE = 25


def place_words(part: Part, fitting: Fitting | None) -> str:
    if fitting is not None:
        return with_edge(str(fitting.position), fitting.edge)
    if part.retired_on is not None:
        because = f": {part.get_retired_because_display()}" if part.retired_because else ""
        return _("retired") + because
    return _("on the shelf")


def rows_of(
    parts: Iterable[Part], items: Sequence[DueItem], today: date, state: str
) -> list[dict[str, object]]:
    fitted = {
        fitting.part_id: fitting
        for fitting in Fitting.objects.open().select_related("position__press", "part")
    }
    by_part: dict[int, list[DueItem]] = {}
    for item in items:
        if item.part_id is not None:
            by_part.setdefault(item.part_id, []).append(item)
    rows = []
    for part in parts:
        fitting = fitted.get(part.pk)
        if (state == "fitted" and fitting is None) or (state == "shelf" and fitting is not None):
            continue
        about = by_part.get(part.pk, [])
        wear = next((item.wear for item in about if item.wear is not None), None)
        coming = first_of(about)
        due_on = coming.due_on if coming is not None else None
        rows.append(
            {
                "pk": part.pk,
                "part": part.code,
                "kind": kind_words(part.part_type.kind),
                "part_type": part.part_type.code,
                "place": place_words(part, fitting),
                "worn": caliper(wear).share if wear is not None else None,
                "due_on": due_on,
                "next_words": f"{work_word(coming.action)} {day_words(due_on, today)}"
                if coming and due_on
                else "",
            }
        )
    return rows


@needs(Permission.VIEW)
def parts(request: MillRequest) -> HttpResponse:
    today = timezone.localdate()
    kind, state = request.GET.get("kind", ""), request.GET.get("state", "")
    chosen = Part.objects.select_related("part_type").order_by("code")
    chosen = chosen.filter(retired_on__isnull=state != "retired")
    if kind in Kind.values:
        chosen = chosen.filter(part_type__kind=kind)
    fleet = items_of_fleet(as_of=today)
    table = PartTable(rows_of(chosen, fleet.items, today, state))
    table.caption = _("Parts %(where)s") % {"where": dict(STATES).get(state, dict(STATES)[""])}
    RequestConfig(request, paginate={"per_page": PER_PAGE, "silent": True}).configure(table)
    return render(
        request,
        "web/machines/parts.html",
        {
            "behind": fleet.behind,
            "table": table,
            "kinds": Kind.choices,
            "kind": kind,
            "states": STATES,
            "state": state,
        },
    )


@dataclass(frozen=True)
class EdgeLine:
    """One edge of a part as its page shows it."""

    name: str
    in_place: bool
    work: worked.Work
    earlier_h: float
    earlier_kg: float
    guessed: Guessed
    wear: figures.EdgeWear
    chart: EdgeChart | None
    gauges: list[tuple[Measurement, GaugeAlong | None, Proposal | None]]
    """Each with where it stands in the chart, None for what lies before the edge's last rebuilding; and with
    what was probably meant, where it counts little."""


def probably_meant(gauge: Measurement, at: GaugeAlong | None, along: WearAlong) -> Proposal | None:
    """What a slip would have made the gauge of; None where it counts in full or no slip explains it."""
    if at is None or at.mid_mm is None or not at.counts_little:
        return None
    found = proposals(
        gauge.value_mm,
        expected=at.mid_mm,
        close=max(REPEATS_TO_MM, abs(along.limit_mm - along.new_mm) / 4),
        new=Decimal(str(along.new_mm)),
        grows=along.limit_mm > along.new_mm,
    )
    return found[0] if found else None


def edge_lines(
    part: Part, edges: Edges, gauges: Sequence[Measurement], charts: PartCharts | None
) -> list[EdgeLine]:
    record = edges.record
    rows = [row for row in record.fittings if row.part_id == part.pk]
    work = worked.of_spans(record, rows)
    lines = []
    for name in part.part_type.edge_names:
        spans = [row for row in rows if row.edge == name or not name]
        own = [gauge for gauge in gauges if gauge.edge == name or not name]
        wear = figures.wear_of(edges, part.pk, name)
        earlier_h, earlier_kg = edges.earlier(part.pk, name)
        chart = None if charts is None else charts.edges.get(name)
        along = {} if chart is None else {gauge.id: gauge for gauge in chart.along.gauges}
        lines.append(
            EdgeLine(
                name=name,
                in_place=any(row.removed is None for row in spans),
                work=sum((work[row.id] for row in spans), worked.Work(earlier_h, earlier_kg, ())),
                earlier_h=earlier_h,
                earlier_kg=earlier_kg,
                guessed=guessed_in(record, spans_of(record, tuple(spans))),
                wear=wear,
                chart=chart,
                gauges=[
                    (gauge, at, None if chart is None else probably_meant(gauge, at, chart.along))
                    for gauge, at in ((gauge, along.get(gauge.pk)) for gauge in own)
                ],
            )
        )
    return lines


@needs(Permission.VIEW)
def part(request: MillRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Part.objects.select_related("part_type", "made_from"), pk=pk)
    now = timezone.now()
    today = timezone.localdate(now)
    known = forecast_of_day(as_of=today)
    edges = known.edges
    fittings = list(history_of(shown))
    items = items_of_part(shown.pk, as_of=today, forecast=known)
    place = next((fitting for fitting in fittings if fitting.removed_at is None), None)
    on_shelf = place is None and shown.retired_on is None
    charts = part_charts(
        edges, shown.pk, name=part_words(shown.part_type.kind, shown.code), system=str(request.units)
    )
    return render(
        request,
        "web/machines/part.html",
        {
            "part": shown,
            "today": today,
            "place": place,
            "stops": place and shown.part_type.kind in LEAVES_OIL,
            "shelf": next_when_fitted(shown, edges, str(request.units)) if on_shelf else None,
            "charts": charts,
            "edges": edge_lines(shown, edges, list(measurements_of(shown)), charts),
            "frames": framed(items),
            "fittings": with_work(fittings, edges),
            "made_into": shown.made_into.all(),
            "lines": log_lines.of_part(list(services_of(shown)), system=str(request.units)),
        },
    )


def with_work(fittings: Sequence[Fitting], edges: Edges) -> list[tuple[Fitting, worked.Work | None]]:
    """Each fitting with what it worked, newest first; none where it starts after today."""
    keys = {fitting.pk for fitting in fittings}
    work = worked.of_spans(edges.record, (row for row in edges.record.fittings if row.id in keys))
    return [(fitting, work.get(fitting.pk)) for fitting in reversed(fittings)]
