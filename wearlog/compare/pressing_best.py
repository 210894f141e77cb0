"""The settings that went with the most oil and the best pace on a press, crop by crop (`calc.settings`).

Settings are what a run has on record (drive, head temperature, choke or gap, moisture), in bands, and the die
and screw that were fitted when it began. Oil per cent and kilograms an hour are taken from the middle of the
run's own season, and shown at the middle of all runs, since harvests differ by more than settings do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from wearlog.calc.settings import BestValue, best_value
from wearlog.compare.runtable import Floats, Places, RunTable, joined, of_presses
from wearlog.history.log import Setup, load_log
from wearlog.history.record import Record
from wearlog.history.record import load as load_record
from wearlog.runs.models import Run
from wearlog.runs.seasons import SEASON_START, parse_start, season_years

WEEK_S = 7 * 86400.0
FEW_RUNS = 10
"""A crop with fewer runs on the press has no card."""


class Setting(StrEnum):
    """In the order of a card."""

    DIE = "die"
    SCREW = "screw"
    DRIVE = "drive_hz"
    HEAD = "head_c"
    GAP = "gap_mm"
    MOISTURE = "moisture_pct"


BANDS = {Setting.DRIVE: 2.5, Setting.HEAD: 5.0, Setting.GAP: 0.5, Setting.MOISTURE: 0.5}
"""The widths of bands (our choice: about what is set and read at a press)."""


@dataclass(frozen=True)
class Found:
    """`value` is a part's mark, or the lower end of a band."""

    value: str | float
    best: BestValue


@dataclass(frozen=True)
class SettingLine:
    """`runs` have the setting on record. None where no value can be told from others."""

    setting: Setting
    runs: int
    oil: Found | None
    pace: Found | None


@dataclass(frozen=True)
class Card:
    crop: str
    runs: int
    lines: tuple[SettingLine, ...]


def cards(press_id: int, *, on: date) -> tuple[Card, ...]:
    """A card for each crop that the press has pressed in enough runs, as of a day."""
    log = load_log()
    record, table = load_record(on), _runs_of(log.setup, press_id)
    told = np.flatnonzero(
        ~table.purge & ~table.worked_out & (table.seed_kg > 0) & (table.started < record.end)
    )
    if not told.size:
        return ()
    table = table.at(told)
    settings = _numbers(press_id, table) | _parts(record, press_id, table)
    years = season_years(table.started, parse_start(SEASON_START), record.zone)
    found = []
    for crop in np.unique(table.crop).tolist():
        rows = np.flatnonzero(table.crop == crop)
        if rows.size >= FEW_RUNS:
            found.append(_card(table, settings, rows, years, table.crop_codes[crop]))
    return tuple(sorted(found, key=lambda card: -card.runs))


def _runs_of(setup: Setup, press_id: int) -> RunTable:
    every = len(setup.presses) == 1
    return joined(setup, [setup.presses[press_id]], of_presses([press_id], every=every))


def _card(
    table: RunTable,
    settings: Mapping[Setting, tuple[Places, list[str | float]]],
    rows: Places,
    years: Places,
    crop: str,
) -> Card:
    seed = table.seed_kg[rows]
    oil = _level(100 * table.oil_kg[rows] / seed, years[rows])
    pace = _level(seed / table.hours[rows], years[rows])
    week = np.floor(table.started[rows] / WEEK_S).astype(np.int64)
    lines = []
    for setting in Setting:
        value, names = settings[setting]
        known = np.flatnonzero(value[rows] >= 0)
        if not known.size:
            continue

        def best(figure: Floats) -> Found | None:
            one = best_value(value[rows][known], figure[known], week[known])  # noqa: B023
            return None if one is None else Found(names[one.value], one)  # noqa: B023

        lines.append(SettingLine(setting, known.size, best(oil), best(pace)))
    return Card(crop, rows.size, tuple(lines))


def _level(figure: Floats, years: Places) -> Floats:
    """The figure of each run, shifted so that all seasons have one middle."""
    known = ~np.isnan(figure)
    shifted = figure.copy()
    if known.any():
        middle = float(np.median(figure[known]))
        for year in np.unique(years[known]):
            own = known & (years == year)
            shifted[own] += middle - float(np.median(figure[own]))
    return shifted


def _numbers(press_id: int, table: RunTable) -> dict[Setting, tuple[Places, list[str | float]]]:
    """For each number that is set: each run's band, -1 where none is on record, and the bands' lower ends."""
    rows = Run.objects.not_voided().filter(press_id=press_id).order_by("pk")
    ids, *columns = (
        np.array(column, dtype=np.float64)
        for column in zip(*rows.values_list("pk", *(str(setting) for setting in BANDS)), strict=True)
    )
    place = np.minimum(np.searchsorted(ids, table.id), ids.size - 1)
    found: dict[Setting, tuple[Places, list[str | float]]] = {}
    for (setting, width), column in zip(BANDS.items(), columns, strict=True):
        own = np.where(ids[place] == table.id, column[place], np.nan)
        band = np.floor(own / width + 1e-9)
        names = np.unique(band[~np.isnan(band)])
        value = np.where(np.isnan(band), -1, np.searchsorted(names, band)).astype(np.int64)
        found[setting] = value, [float(name * width) for name in names]
    return found


def _parts(record: Record, press_id: int, table: RunTable) -> dict[Setting, tuple[Places, list[str | float]]]:
    """The die and the screw that each run began with; on a press with two barrels those of the first."""
    found: dict[Setting, tuple[Places, list[str | float]]] = {}
    for setting in (Setting.DIE, Setting.SCREW):
        places = [
            row for row in record.positions.values() if (row.press_id, row.kind) == (press_id, str(setting))
        ]
        value, names = np.full(table.id.size, -1, dtype=np.int64), dict[str, int]()
        first = min(places, key=lambda row: (row.barrel, row.name), default=None)
        for fitting in record.fittings if first is not None else ():
            if first is None or fitting.position_id != first.id:
                continue
            until = record.end if fitting.removed is None else fitting.removed
            name = record.parts[fitting.part_id].code
            own = (table.started >= fitting.fitted) & (table.started < until)
            value[own] = names.setdefault(name, len(names))
        found[setting] = value, list(names)
    return found
