"""The tables of work, incidents and gauges: page and files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Generic, TypeVar, cast

from django.db.models import Count, Max, Min, Model, QuerySet, Sum
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.people.roles import Permission, allows
from wearlog.service.models import Incident, Measurement, Service
from wearlog.web.records.columns import Cell, Column, length_of
from wearlog.web.records.files import as_csv, as_xlsx
from wearlog.web.records.filters import Filters, GaugeFilters, IncidentFilters, WorkFilters
from wearlog.web.records.page import Total, show, too_many_words
from wearlog.web.records.tables import Rows, sorter, table_of
from wearlog.web.site.access import MillRequest, needs
from wearlog.words.actions import action_word
from wearlog.words.kinds import fitted_part_words

Row = TypeVar("Row", bound=Model)
AT_ONCE = 2_000


def _answer(
    request: MillRequest,
    name: str,
    filters: Filters,
    rows: QuerySet[Row],
    columns: Sequence[Column[Row]],
    *,
    kind: str,
    title: str,
    empty: str,
    totals: Sequence[Total],
    sums: dict[str, Cell],
) -> HttpResponseBase:
    """The page, or the file that is asked for. sums: the totals by the keys of their columns."""
    wanted, too_many = request.GET.get("download", ""), ""
    if wanted:
        too_many = too_many_words(request, rows.count())
    if wanted in ("csv", "xlsx") and not too_many:
        sorts = {column.key: column.sort for column in columns if column.sort}
        asked = [one for one in request.GET.get("sort", "").split(",") if one.removeprefix("-") in sorts]
        by = [("-" if one.startswith("-") else "") + sorts[one.removeprefix("-")] for one in asked]
        each = _each(rows.order_by(*by, "-pk") if by else rows)
        if wanted == "csv":
            return as_csv(columns, each, name)
        last = [_("All together"), *(sums.get(column.key) for column in columns[1:])]
        return as_xlsx(columns, each, name, totals=[last], title=title)
    shown = _Sorted(rows)
    table = table_of(
        columns,
        Rows(rows.count(), sorter(columns, shown.sort), shown.read),
        kind=kind,
        system=str(request.units),
        caption=_("%(what)s, newest first") % {"what": title},
        empty=empty,
    )
    return show(request, name, form=filters.form, table=table, totals=totals, too_many=too_many)


class _Sorted(Generic[Row]):
    """Records in an order that somebody asks for; those that are alike stand newest first."""

    def __init__(self, rows: QuerySet[Row]) -> None:
        self.rows = rows
        self.by: list[str] = []

    def sort(self, by: str) -> None:
        self.by.insert(0, by)

    def read(self, first: int, last: int) -> list[Row]:
        rows = self.rows.order_by(*self.by, "-pk") if self.by else self.rows
        return list(rows[first:last])


def _each(rows: QuerySet[Row]) -> Iterator[Row]:
    return rows.iterator(chunk_size=AT_ONCE)


@needs(Permission.VIEW)
def work(request: MillRequest) -> HttpResponseBase:
    system, currency = str(request.units), request.mill.currency
    filters = WorkFilters(request.GET, zone=request.mill.zone)
    rows = cast("QuerySet[Service]", filters.qs).order_by("-done_at", "-pk")
    owner = allows(request.user, Permission.OWN)
    columns: list[Column[Service]] = [
        Column(
            "done_at",
            _("When"),
            lambda row: timezone.localtime(row.done_at),
            None,
            "done_at",
            17,
            record=True,
        ),
        Column("press", _("Press"), lambda row: str(row.press), sort="press__code"),
        Column("work", _("Work"), lambda row: action_word(row.action), sort="action"),
        Column(
            "part",
            _("Part"),
            lambda row: fitted_part_words(row.part, row.edge) if row.part else "",
            sort="part__code",
            width=18,
        ),
        Column("finding", _("What was found"), lambda row: row.finding, width=30),
        Column("labour_h", _("Hours of work (h)"), lambda row: row.labour_h, 2, "labour_h"),
        Column("stood_h", _("The press stood (h)"), lambda row: row.downtime_h, 2, "downtime_h"),
    ]
    if owner:
        paid = _("Paid")
        words = f"{paid} ({currency})" if currency else paid
        columns.append(Column("paid", words, lambda row: row.cost, 2, "cost", money=currency))
    columns.append(Column("done_by", _("Done by"), lambda row: row.done_by, sort="done_by", width=16))
    sums = rows.order_by().aggregate(
        number=Count("pk"), labour=Sum("labour_h"), stood=Sum("downtime_h"), paid=Sum("cost")
    )
    totals = [
        Total("number", _("Number"), units.show_number(sums["number"], 0, system)),
        Total("labour", _("Hours of work"), units.show_hours(sums["labour"], system)),
        Total("stood", _("The presses stood"), units.show_hours(sums["stood"], system)),
    ]
    if owner and sums["paid"] is not None:
        paid = f"{units.show_number(sums['paid'], 2, system)} {currency}".strip()
        totals.append(Total("paid", _("Paid"), paid))
    return _answer(
        request,
        "work",
        filters,
        rows,
        columns,
        kind="work",
        title=_("Work"),
        empty=_("No work answers to this choice."),
        totals=[total for total in totals if total.text != units.NOTHING],
        sums={"labour_h": sums["labour"], "stood_h": sums["stood"], "paid": sums["paid"]},
    )


@needs(Permission.VIEW)
def incidents(request: MillRequest) -> HttpResponseBase:
    system = str(request.units)
    filters = IncidentFilters(request.GET, zone=request.mill.zone)
    rows = cast("QuerySet[Incident]", filters.qs).order_by("-happened_at", "-pk")
    columns: list[Column[Incident]] = [
        Column(
            *(
                "happened_at",
                _("When"),
                lambda row: timezone.localtime(row.happened_at),
                None,
                "happened_at",
                17,
            ),
            record=True,
        ),
        Column("press", _("Press"), lambda row: str(row.press), sort="press__code"),
        Column("kind", _("What happened?"), lambda row: str(row.get_kind_display()), sort="kind", width=18),
        Column("position", _("Where?"), lambda row: row.position.name if row.position else "", width=16),
        Column("lot", _("Lot"), lambda row: row.hold.lot if hasattr(row, "hold") else ""),
        Column("note", _("What was seen"), lambda row: row.note, width=40),
        Column("entered_by", _("Entered by"), lambda row: str(row.entered_by or ""), width=16),
    ]
    number = rows.count()
    return _answer(
        request,
        "incidents",
        filters,
        rows,
        columns,
        kind="incident",
        title=_("Incidents"),
        empty=_("No incident answers to this choice."),
        totals=[Total("number", _("Number"), units.show_number(number, 0, system))],
        sums={},
    )


@needs(Permission.VIEW)
def gauges(request: MillRequest) -> HttpResponseBase:
    system = str(request.units)
    filters = GaugeFilters(request.GET, zone=request.mill.zone)
    rows = cast("QuerySet[Measurement]", filters.qs).order_by("-measured_at", "-pk")
    unit, digits = ("in", 4) if units.is_us(system) else ("mm", 3)
    measured = _("Measured")
    columns: list[Column[Measurement]] = [
        Column(
            *(
                "measured_at",
                _("When"),
                lambda row: timezone.localtime(row.measured_at),
                None,
                "measured_at",
                17,
            ),
            record=True,
        ),
        Column(
            *("part", _("Part"), lambda row: fitted_part_words(row.part, row.edge), None, "part__code", 18),
        ),
        Column(
            f"value_{unit}",
            f"{measured} ({unit})",
            lambda row: length_of(row.value_mm, system),
            digits=digits,
            sort="value_mm",
        ),
        Column("bound", _("The gauge gave"), lambda row: str(row.get_bound_display()), width=18),
        Column("place", _("Place"), lambda row: row.place),
        Column("phase", _("Before or after work"), lambda row: str(row.get_phase_display()), width=16),
        Column("note", _("Note"), lambda row: row.note, width=30),
        Column("entered_by", _("Entered by"), lambda row: str(row.entered_by or ""), width=16),
    ]
    sums = rows.order_by().aggregate(number=Count("pk"), least=Min("value_mm"), most=Max("value_mm"))
    totals = [
        Total("number", _("Number"), units.show_number(sums["number"], 0, system)),
        Total("least", _("Smallest"), _length(sums["least"], system)),
        Total("most", _("Largest"), _length(sums["most"], system)),
    ]
    return _answer(
        request,
        "gauges",
        filters,
        rows,
        columns,
        kind="measurement",
        title=_("Gauges"),
        empty=_("No gauge answers to this choice."),
        totals=[total for total in totals if total.text != units.NOTHING],
        sums={},
    )


def _done(row: Service) -> datetime:
    return timezone.localtime(row.done_at)


def _happened(row: Incident) -> datetime:
    return timezone.localtime(row.happened_at)


def _measured(row: Measurement) -> datetime:
    return timezone.localtime(row.measured_at)


def _length(mm: Decimal | None, system: str) -> str:
    return units.show_length(mm, system)
