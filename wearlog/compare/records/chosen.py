"""The runs that a table of runs shows, as arrays, and their totals.

The totals are those of the comparison: hours by the one rule of hours (`runs.hours`), each moment of a press
once; rates over the runs that rates count; oil, cake and energy per tonne over the runs in which they are
recorded. Through parts, a run counts in proportion (`records.through`).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from wearlog.calc import units
from wearlog.compare.records.choice import Counts, RunChoice
from wearlog.compare.records.through import Pressed, pressed_through
from wearlog.compare.runtable import RunTable, load
from wearlog.history import record
from wearlog.history.cache import VersionCache
from wearlog.history.runs import last_run, runs_written_as
from wearlog.people.models import Mill
from wearlog.runs.seasons import parse_start, season_name, season_years

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class RunTotals:
    """Sums of some runs; None where nothing is known to make them of. Hours, kilograms, kilowatt-hours."""

    runs: int
    hours: float
    seed: float
    oil: float | None
    cake: float | None
    energy: float | None
    hours_per_tonne: float | None
    throughput: float | None
    oil_pct: float | None
    cake_pct: float | None
    energy_per_tonne: float | None


@dataclass(frozen=True, eq=False)
class Chosen:
    """The chosen runs in order of their keys, shape (n,) each; NaN where nothing is recorded. `press` and
    `crop` are indexes into the codes; `share` is the part of the run's seed that counts here, 1 but for runs
    that were only partly through the parts asked for. All amounts are by that share already."""

    press_codes: tuple[str, ...]
    press_names: tuple[str, ...]
    crop_codes: tuple[str, ...]
    id: Places
    press: Places
    crop: Places
    started: Floats
    hours: Floats
    seed: Floats
    oil: Floats
    cake: Floats
    energy: Floats
    share: Floats
    in_rates: Flags
    unlogged_h: float = 0.0
    earlier_h: float = 0.0
    earlier_kg: float = 0.0
    """Beside the runs, of parts: hours on a meter without a run, and work from before this log."""

    def totals(self, crop: int | None = None) -> RunTotals:
        """Of all runs with what stands beside them, or of the runs of one crop."""
        rows = np.arange(self.id.size) if crop is None else np.flatnonzero(self.crop == crop)
        hours, seed = self.hours[rows], self.seed[rows]
        rated = self.in_rates[rows]
        rated_h, rated_kg = float(np.nansum(hours[rated])), float(seed[rated].sum())
        beside_h = self.unlogged_h + self.earlier_h if crop is None else 0.0
        beside_kg = self.earlier_kg if crop is None else 0.0

        def per_seed(amounts: Floats, scale: float) -> float | None:
            known = rated & ~np.isnan(amounts)
            whole = float(seed[known].sum())
            return scale * float(amounts[known].sum()) / whole if whole > 0 else None

        oil, cake, energy = self.oil[rows], self.cake[rows], self.energy[rows]
        return RunTotals(
            runs=rows.size,
            hours=float(np.nansum(hours)) + beside_h,
            seed=float(seed.sum()) + beside_kg,
            oil=_sum(oil),
            cake=_sum(cake),
            energy=_sum(energy),
            hours_per_tonne=units.hours_per_tonne(rated_h, rated_kg),
            throughput=rated_kg / rated_h if rated_h > 0 else None,
            oil_pct=per_seed(oil, 100),
            cake_pct=per_seed(cake, 100),
            energy_per_tonne=per_seed(energy, 1000),
        )

    def crops(self) -> list[int]:
        """The indexes of the crops of these runs."""
        return [int(place) for place in np.unique(self.crop)]

    def at_mix(self, mix: dict[str, float]) -> float | None:
        """Hours per tonne at a mix of crops (weights in any unit): the rate of each crop, weighed. None where
        one of the crops has no rate."""
        rates = {self.crop_codes[place]: self.totals(place).hours_per_tonne for place in self.crops()}
        whole = sum(mix.values())
        found = 0.0
        for code, weight in mix.items():
            rate = rates.get(code)
            if rate is None or whole <= 0:
                return None
            found += weight / whole * rate
        return found if mix else None


def _sum(amounts: Floats) -> float | None:
    known = ~np.isnan(amounts)
    return float(amounts[known].sum()) if known.any() else None


_KEPT: VersionCache[tuple[RunChoice, date, int], Chosen] = VersionCache("runs chosen for a table", most=2)
_RECORDS: VersionCache[date, record.Record] = VersionCache("the record of tables of runs", most=1)


def choose(choice: RunChoice, *, today: date) -> Chosen:
    """The runs that have ended and answer to the choice. Through parts, as the log stood at the end of
    `today`. Raises BadSeasonStart."""
    table, zone = load(), Mill.current().zone
    start = parse_start(choice.season_start)

    def make() -> Chosen:
        kept = _kept(table, choice, zone, start)
        if not choice.through:
            return _of(table, kept)
        stood = _RECORDS.get(today, lambda: record.load(today))
        return _through(table, pressed_through(stood, choice.through), kept, choice)

    return _KEPT.get((choice, today, last_run()), make)


def season_names(season_start: str) -> list[str]:
    """The names of the seasons in which runs began, newest first. Raises BadSeasonStart."""
    table, start = load(), parse_start(season_start)
    years = np.unique(season_years(table.started, start, Mill.current().zone))
    return [season_name(int(year), start) for year in years[::-1]]


def _kept(table: RunTable, choice: RunChoice, zone: ZoneInfo, start: tuple[int, int]) -> Flags:
    kept = np.ones(table.press.size, dtype=np.bool_)
    if choice.presses:
        kept &= np.isin(table.press, _places(table.press_codes, choice.presses))
    if choice.crops:
        kept &= np.isin(table.crop, _places(table.crop_codes, choice.crops))
    if choice.seasons:
        years = season_years(table.started, start, zone)
        wanted = [year for year in np.unique(years).tolist() if season_name(year, start) in choice.seasons]
        kept &= np.isin(years, wanted)
    if choice.first is not None:
        kept &= table.started >= _midnight(choice.first, zone)
    if choice.last is not None:
        kept &= table.started < _midnight(choice.last + timedelta(days=1), zone)
    if choice.lot or choice.person:
        kept &= np.isin(table.id, runs_written_as(lot=choice.lot, done_by=choice.person))
    known = {"oil": table.oil_kg, "cake": table.cake_kg, "energy": table.energy_kwh}.get(choice.known)
    if known is not None:
        kept &= ~np.isnan(known)
    timed = ~np.isnan(table.hours)
    match choice.counts:
        case Counts.RATE:
            kept &= _in_rates(table)
        case Counts.COSTS:
            kept &= timed & ~table.purge
        case Counts.PURGE:
            kept &= table.purge
        case Counts.WORKED_OUT:
            kept &= timed & ~table.purge & table.worked_out
        case Counts.UNTIMED:
            kept &= ~timed & ~table.purge
    return kept


def _in_rates(table: RunTable) -> Flags:
    found: Flags = ~np.isnan(table.hours) & ~table.purge & ~table.worked_out
    return found


def _places(codes: Collection[str], wanted: Collection[str]) -> list[int]:
    return [place for place, code in enumerate(codes) if code in wanted]


def _midnight(day: date, zone: ZoneInfo) -> float:
    return datetime.combine(day, time.min, zone).astimezone(UTC).timestamp()


def _of(table: RunTable, kept: Flags) -> Chosen:
    return Chosen(
        press_codes=table.press_codes,
        press_names=table.press_names,
        crop_codes=table.crop_codes,
        id=table.id[kept],
        press=table.press[kept],
        crop=table.crop[kept],
        started=table.started[kept],
        hours=table.hours[kept],
        seed=table.seed_kg[kept],
        oil=table.oil_kg[kept],
        cake=table.cake_kg[kept],
        energy=table.energy_kwh[kept],
        share=np.ones(int(kept.sum())),
        in_rates=_in_rates(table)[kept],
    )


def _through(table: RunTable, pressed: Pressed, kept: Flags, choice: RunChoice) -> Chosen:
    place = np.minimum(np.searchsorted(table.id, pressed.id), max(table.id.size - 1, 0))
    here = (table.id[place] == pressed.id) & kept[place] if table.id.size else np.zeros(0, dtype=np.bool_)
    rows, share = place[here], pressed.fraction[here]
    whole = choice.is_of_parts_alone
    return Chosen(
        press_codes=table.press_codes,
        press_names=table.press_names,
        crop_codes=table.crop_codes,
        id=table.id[rows],
        press=table.press[rows],
        crop=table.crop[rows],
        started=table.started[rows],
        hours=pressed.hours[here],
        seed=table.seed_kg[rows] * share,
        oil=table.oil_kg[rows] * share,
        cake=table.cake_kg[rows] * share,
        energy=table.energy_kwh[rows] * share,
        share=share,
        in_rates=_in_rates(table)[rows],
        unlogged_h=pressed.unlogged_h if whole else 0.0,
        earlier_h=pressed.earlier_h if whole else 0.0,
        earlier_kg=pressed.earlier_kg if whole else 0.0,
    )
