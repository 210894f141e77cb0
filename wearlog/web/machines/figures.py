"""Figures of presses and parts for their pages. Derived from the record of the log, never stored."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from wearlog.compare.queries import Line
from wearlog.compare.queries import season_lines as seasonal
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import WearFigure
from wearlog.forecasts.left import figure_of
from wearlog.forecasts.things import crops_of
from wearlog.history.record import Record
from wearlog.runs.seasons import SEASON_START, parse_start, season_name, season_years


@dataclass(frozen=True)
class MeterNow:
    read_at: date
    meter_h: float


def last_reading(record: Record, press_id: int) -> MeterNow | None:
    """The last reading of the press's meter."""
    readings = record.readings.get(press_id)
    if readings is None:
        return None
    return MeterNow(record.day_of(float(readings.at[-1])), float(readings.meter_h[-1]))


def hours_since(record: Record, press_id: int, instant: datetime) -> float:
    """Hours that the press has run since the instant."""
    timeline = record.timelines.get(press_id)
    return 0.0 if timeline is None else float(timeline.hours(instant.timestamp(), record.end)[0])


def season_of(record: Record) -> str:
    """The name of the season of the record's day."""
    start = parse_start(SEASON_START)
    return season_name(int(season_years(np.array([record.end - 1.0]), start, record.zone)[0]), start)


def season_lines(record: Record, press_ids: Collection[int]) -> dict[int, Line]:
    """This season's line of the comparison for each of these presses that has run in it."""
    return seasonal(press_ids, season=season_of(record))


@dataclass(frozen=True)
class Rate:
    """Wear of one crop on one edge, mm per tonne, with its 10 % and 90 % points."""

    crop: str
    mm_per_t: float
    low: float
    high: float


@dataclass(frozen=True)
class EdgeWear:
    """The estimated wear of one edge: the strip, its uncertainty, and its rates for the crops of its type."""

    figure: WearFigure | None
    basis: str
    rates: tuple[Rate, ...]


def wear_of(edges: Edges, part_id: int, edge: str) -> EdgeWear:
    """The wear of an edge that has been used or not; without new and limit values there is no strip."""
    record = edges.record
    part = record.parts[part_id]
    type_ = record.types[part.type_id]
    fit, own = edges.fit_of(part, edge)
    multiplier = 1.0 if own.multiplier is None else own.multiplier.mid
    served = crops_of(record.crops, type_)
    rates = tuple(
        Rate(crop, rate.mid * multiplier * 1000, rate.low * multiplier * 1000, rate.high * multiplier * 1000)
        for number, (crop, rate) in enumerate(zip(record.crops, fit.rates, strict=True))
        if rate is not None and (served is None or number in served)
    )
    if type_.new_mm is None or type_.limit_mm is None:
        return EdgeWear(None, own.basis, rates)
    used = edges.used.get((part_id, edge))
    return EdgeWear(figure_of(record, used, type_.new_mm, type_.limit_mm, own.now), own.basis, rates)
