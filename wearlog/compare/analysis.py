"""The functions of `calc` applied to columns of a CSV file, as plain data. No database is opened here.

Each function takes rows as read by `read_columns` and returns the data that `manage.py analyse` prints.
Results that can't be computed are None with a `reason`; unusable input raises BadInput with one sentence.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from wearlog.calc import drift as charts
from wearlog.calc import life as lives
from wearlog.calc import lines, policy
from wearlog.calc import recurrence as repeated

Row = dict[str, str]
Found = dict[str, object]


class BadInput(ValueError):
    """A file or an option that can't be used; the message says what to do."""


def read_columns(text: Iterable[str], needed: Sequence[str]) -> list[Row]:
    """The rows of a CSV file as {column: text}. The `needed` columns must be in the header; others are kept.
    Raises BadInput."""
    reader = csv.reader(text, strict=True)
    try:
        lines_read = list(reader)
    except (csv.Error, UnicodeDecodeError) as error:
        raise BadInput(
            f"The file can't be read as CSV in UTF-8 near line {reader.line_num}: {error}."
        ) from error
    if not lines_read or not any(cell.strip() for cell in lines_read[0]):
        raise BadInput(f"The file has no header: its first line must name the columns {', '.join(needed)}.")
    header = [cell.strip().removeprefix("\ufeff") for cell in lines_read[0]]
    missing = [name for name in needed if name not in header]
    if missing:
        raise BadInput(f"Column {', '.join(missing)} is missing: the header names {', '.join(header)}.")
    if len(set(header)) < len(header):
        raise BadInput("The header names a column twice: each name may stand once.")
    rows = []
    for number, cells in enumerate(lines_read[1:], start=1):
        cells = cells or [""]  # an empty line is one empty cell
        if len(cells) > len(header) or (len(cells) < len(header) and any(cells)):
            raise BadInput(f"Row {number} has {len(cells)} cells where the header has {len(header)}.")
        cells += [""] * (len(header) - len(cells))
        rows.append({name: cell.strip() for name, cell in zip(header, cells, strict=True)})
    return rows


def filled(rows: list[Row]) -> list[tuple[int, Row]]:
    """(number from 1, row) of each row that is not empty."""
    return [(number, row) for number, row in enumerate(rows, start=1) if any(row.values())]


def number(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{where}: “{text}” is not a number, write digits with a decimal point, as 12.5.")
    return value


def cell(row: Row, name: str, place: int, fits: Callable[[float], bool], hint: str) -> float:
    value = number(row[name], f"Row {place}, column {name}")
    if not fits(value):
        raise BadInput(f"Row {place}, column {name}: {row[name]} can't be used, {hint}.")
    return value


def flag(row: Row, name: str, place: int, meaning: str) -> bool:
    if row[name] not in ("0", "1"):
        raise BadInput(f"Row {place}, column {name}: “{row[name]}” is neither 1 nor 0 ({meaning}).")
    return row[name] == "1"


def pair(span: lives.Limits) -> list[float | None]:
    return [span.low, span.high]


def life(rows: list[Row]) -> Found:
    """Fits a life distribution. Columns: `age`, `failed` (1, 0), optional `count`."""
    ages, failed, counts = [], [], []
    for place, row in filled(rows):
        ages.append(cell(row, "age", place, lambda age: age > 0, "an age is above 0"))
        failed.append(flag(row, "failed", place, "1 failed, 0 still alive"))
        count = row.get("count") or "1"
        counts.append(
            cell({"count": count}, "count", place, lambda many: many >= 0, "a count is not negative")
        )
    found = lives.fit_life(ages, failed, counts)
    return {
        "basis": found.basis,
        "reason": found.reason,
        "failures": _whole(found.failures),
        "units": _whole(found.units),
        "shape": found.shape,
        "shape_interval": pair(found.shape_range),
        "least_shape": lives.least_shape(ages, failed, counts),
        "limits": found.limits,
        "scale": found.scale,
        "scale_interval": pair(found.scale_range),
        "log_likelihood": found.log_likelihood,
        "b10": found.b10,
        "b10_interval": pair(found.b10_range),
        "mean": found.mean if found.failures >= lives.FEW_TO_AVERAGE else None,
        "fixed_shape_fits": [
            {
                "shape": each.shape,
                "scale": each.scale,
                "scale_interval": pair(each.scale_range),
                "scale_lower_one_sided": each.one_sided_low,
            }
            for each in found.fixed_shapes
        ],
        "kaplan_meier": [
            [step.age, step.survival, _whole(step.at_risk)]
            for step in lives.kaplan_meier(ages, failed, counts)
        ],
    }


def _whole(value: float) -> float | int:
    return int(value) if value == int(value) else value


NO_RECURRENCE = (
    "units",
    "events",
    "reason",
    "mcf",
    "mcf_independent_variance",
    "laplace_z",
    "power_shape",
    "power_shape_interval",
    "power_rate",
    "power_rate_interval",
    "power_limits",
    "event_rate",
    "event_rate_interval",
)


def recurrence(rows: list[Row], *, terminated: repeated.Termination) -> Found:
    """Trend of recurring events. Columns: `unit`, `age`, `event` (1 event, 0 end of observation)."""
    events: dict[str, list[float]] = {}
    ends: dict[str, float] = {}
    for place, row in filled(rows):
        name = row["unit"]
        age = cell(row, "age", place, lambda value: value >= 0, "an age is not negative")
        events.setdefault(name, [])
        if flag(row, "event", place, "1 event, 0 end of observation"):
            events[name].append(age)
        elif name in ends:
            raise BadInput(f"Row {place}: unit “{name}” has a second end of observation, keep one.")
        else:
            ends[name] = age
    endless = [name for name in events if name not in ends]
    if terminated == "time" and endless:
        raise BadInput(
            f"Unit “{endless[0]}” has no end of observation: add a row with event 0, "
            "or say --terminated failure."
        )
    try:
        units = [repeated.unit(ages, ends.get(name)) for name, ages in events.items()]
    except ValueError as error:
        raise BadInput(str(error)) from error
    if not units:
        return {
            **dict.fromkeys(NO_RECURRENCE),
            "units": 0,
            "events": 0,
            "mcf": [],
            "reason": "no unit on record",
        }
    rate = repeated.event_rate(units)
    points = repeated.mean_cumulative(units)
    try:
        law = repeated.power_law(units, terminated=terminated)
    except ValueError as error:
        law = repeated.PowerLaw(
            rate.events, None, lives.UNKNOWN, None, lives.UNKNOWN, "none", str(error).rstrip(".")
        )
    return {
        "units": len(units),
        "events": rate.events,
        "reason": law.reason,
        "mcf": [[point.age, point.value, point.variance] for point in points],
        "mcf_independent_variance": [point.independent_variance for point in points],
        "laplace_z": repeated.laplace(units, terminated=terminated),
        "power_shape": law.shape,
        "power_shape_interval": pair(law.shape_range),
        "power_rate": law.rate,
        "power_rate_interval": pair(law.rate_range),
        "power_limits": law.limits,
        "event_rate": rate.rate,
        "event_rate_interval": [rate.low, rate.high],
    }


def wear(rows: list[Row], *, new: float | None, limit: float, gauge_sd: float | None) -> Found:
    """A straight line for each unit, from `new` if given. Columns: `unit`, `exposure`, `value`."""
    readings: dict[str, tuple[list[float], list[float]]] = {}
    for place, row in filled(rows):
        exposures, values = readings.setdefault(row["unit"], ([], []))
        exposures.append(cell(row, "exposure", place, lambda value: value >= 0, "it is not negative"))
        values.append(number(row["value"], f"Row {place}, column value"))
    return {
        "units": [
            _wear_of(name, exposures, values, new, limit, gauge_sd)
            for name, (exposures, values) in readings.items()
        ]
    }


def _wear_of(
    name: str,
    exposures: list[float],
    values: list[float],
    new: float | None,
    limit: float,
    gauge_sd: float | None,
) -> Found:
    start = 0.0 if new is None else new
    line = (
        lines.least_squares(exposures, values)
        if new is None
        else lines.through_origin(exposures, np.asarray(values) - start)
    )
    found = lines.exposure_at_limit(exposures, values, limit=limit, new=new, gauge_sd=gauge_sd)
    toward = math.copysign(1.0, limit - (values[0] if new is None else new))
    rate = None if isinstance(line, lines.CannotTell) else line.slope * toward
    if isinstance(found, lines.CannotTell):
        reason, at_limit = str(found.reason.value), None
    else:
        reason = "limit reached or passed" if found.passed else ""
        at_limit = [found.low, found.exposure, found.high]
    return {
        "unit": name,
        "readings": len(values),
        "rate": rate,
        "exposure_at_limit": at_limit,
        "basis": "none" if rate is None else "measured",
        "reason": reason,
    }


def drift(rows: list[Row], *, target: float, sd: float, weight: float, width: float) -> Found:
    """An EWMA chart. Column: `value`, empty for a gap."""
    values = [
        number(row["value"], f"Row {place}, column value") if row["value"] else math.nan
        for place, row in enumerate(rows, start=1)
    ]
    try:
        chart = charts.ewma(values, target=target, sd=sd, weight=weight, width=width)
    except ValueError as error:
        raise BadInput(str(error)) from error
    return {
        "ewma": _none_for_nan(chart.ewma),
        "lower": _none_for_nan(chart.lower),
        "upper": _none_for_nan(chart.upper),
        "steady_lower": chart.steady_lower,
        "steady_upper": chart.steady_upper,
        "alarms": [place + 1 for place in chart.alarms],
    }


def _none_for_nan(values: charts.Floats) -> list[float | None]:
    return [None if math.isnan(value) else value for value in values.tolist()]


def replacement(
    *, shape: float, scale: float, planned_cost: float, failure_cost: float, shape_low: float | None
) -> Found:
    """The replacement age of least cost for a Weibull life. Raises BadInput."""
    try:
        found = policy.replacement(
            shape=shape,
            scale=scale,
            planned_cost=planned_cost,
            failure_cost=failure_cost,
            shape_low=shape_low,
        )
    except ValueError as error:
        raise BadInput(str(error)) from error
    return {
        "best_age": found.best_age,
        "cost_rate": found.cost_rate,
        "run_to_failure_cost": found.run_to_failure_cost,
        "saving_against_run_to_failure": found.saving,
        "reason": found.reason,
    }
