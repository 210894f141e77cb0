"""Queries about which part is or was fitted where."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from django.db.models import Exists, Model, OuterRef, Q, QuerySet, Subquery

from wearlog.equipment.kinds import Kind
from wearlog.equipment.models import Fitting, Part, Position, Press

Row = TypeVar("Row", bound=Model)


def first_of_each_press(
    rows: QuerySet[Row], press_ids: Collection[int], *order: str, press: str = "press"
) -> QuerySet[Row]:
    """Of each press the first of `rows` in this order, in one query, which leaves out a press without any.

    `press` is the path from a row to its press. The database looks up one row for each press, as it would
    for a single one; a window function would read all rows of all presses.
    """
    first = rows.filter(**{press: OuterRef("pk")}).order_by(*order).values("pk")[:1]
    return rows.filter(pk__in=Press.objects.filter(pk__in=press_ids).order_by().values_list(Subquery(first)))


def presses_in_service(*, on: date) -> QuerySet[Press]:
    """Presses that are not retired on the day, by code."""
    return Press.objects.filter(Q(retired_on__isnull=True) | Q(retired_on__gt=on))


def fitted_now(press: Press) -> QuerySet[Fitting]:
    """The open fittings of a press by position, with part, type and position already loaded."""
    return (
        Fitting.objects.open()
        .filter(position__press=press)
        .select_related("part__part_type", "position__press", "entered_by")
        .order_by("position__name")
    )


def fitted_at(press: Press, *, at: datetime) -> QuerySet[Fitting]:
    """The fittings of a press that are in force at the instant, by position."""
    return (
        Fitting.objects.in_place(at=at)
        .filter(position__press=press)
        .select_related("part__part_type", "position__press", "entered_by")
        .order_by("position__name")
    )


def fitting_on(position: Position, *, at: datetime) -> Fitting | None:
    """The fitting on the position at the instant, or None."""
    return (
        Fitting.objects.in_place(at=at)
        .filter(position=position)
        .select_related("part__part_type", "position__press")
        .first()
    )


def place_of(part: Part) -> Fitting | None:
    """The part's open fitting, or None where it lies on the shelf or is retired."""
    return Fitting.objects.open().filter(part=part).select_related("position__press").first()


@dataclass(frozen=True)
class Seat:
    """A position of a press and its open fitting, if any."""

    position: Position
    fitting: Fitting | None


def seats_of(press: Press) -> list[Seat]:
    """Every position of the press, empty ones included, in two queries."""
    by_position = {fitting.position_id: fitting for fitting in fitted_now(press)}
    return [
        Seat(position, by_position.get(position.pk)) for position in press.positions.select_related("press")
    ]


def history_of(part: Part) -> QuerySet[Fitting]:
    """All fittings of a part that are not voided, oldest first."""
    return (
        Fitting.objects.not_voided().filter(part=part).select_related("position__press").order_by("fitted_at")
    )


def history_on(position: Position) -> QuerySet[Fitting]:
    """All fittings on a position that are not voided, oldest first."""
    return (
        Fitting.objects.not_voided()
        .filter(position=position)
        .select_related("part__part_type")
        .order_by("fitted_at")
    )


def spares(*, kind: str = "") -> QuerySet[Part]:
    """Parts that are neither retired nor fitted, so that they can be fitted."""
    fitted = Fitting.objects.open().filter(part=OuterRef("pk"))
    parts = Part.objects.filter(~Exists(fitted), retired_on__isnull=True)
    if kind:
        parts = parts.filter(part_type__kind=kind)
    return parts.select_related("part_type").order_by("part_type__code", "code")


def spares_for(position: Position) -> QuerySet[Part]:
    """Parts that could go on the position."""
    return spares(kind=position.kind)


def edges_used(part: Part) -> tuple[str, ...]:
    """The edges that have been at work, in order of first use."""
    edges = (
        Fitting.objects.not_voided().filter(part=part).order_by("fitted_at").values_list("edge", flat=True)
    )
    return tuple(dict.fromkeys(edges))


def edges_unused(part: Part) -> tuple[str, ...]:
    """The edges that have never been at work, `A` first; `("",)` for an unused part with one edge."""
    used = set(edges_used(part))
    return tuple(edge for edge in part.part_type.edge_names if edge not in used)


def next_edge(fitting: Fitting) -> str:
    """The edge a flip turns to: the next unused one, else the next in order round the part."""
    names = fitting.part.part_type.edge_names
    unused = edges_unused(fitting.part)
    here = names.index(fitting.edge) if fitting.edge in names else -1
    for step in range(1, len(names)):
        edge = names[(here + step) % len(names)]
        if edge in unused:
            return edge
    return names[(here + 1) % len(names)]


def die_sizes_on(press_id: int) -> list[tuple[float, float | None, float]]:
    """Of each die that sat on the press, in order of time: from when until when (seconds since 1970; None: it
    still does), and its size in mm. One query."""
    rows = Fitting.objects.not_voided().filter(position__press_id=press_id, part__part_type__kind=Kind.DIE)
    found = rows.order_by("fitted_at", "pk").values_list(
        "fitted_at", "removed_at", "part__part_type__size_mm"
    )
    return [
        (fitted.timestamp(), None if removed is None else removed.timestamp(), float(size))
        for fitted, removed, size in found
        if size is not None
    ]
