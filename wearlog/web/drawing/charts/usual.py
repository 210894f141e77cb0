"""The output per hour of a press against its own usual: an EWMA chart (Roberts 1959) of the season's runs.

Usual are the first runs of each class of the season; what is averaged, and how far chance alone takes it,
is reckoned by `calc.drift.throughput_drift`, as for the rules that watch output. The line is the average, in
per cent above or below usual, shaded what chance does, diamonds where output has fallen out of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.calc.drift import BASELINE_RUNS, LEAST_LOSS, throughput_drift
from wearlog.compare.reliability import OFF_SEASON_S
from wearlog.equipment.queries import die_sizes_on
from wearlog.forecasts.paces import paces
from wearlog.forecasts.triggers import drift
from wearlog.history.record import Record
from wearlog.web.drawing.charts.layers import X, Y, axes, round_steps, rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.over_time import OverTime
from wearlog.web.drawing.charts.render import INK, RANGE, STEEL, Spec, chart_svg
from wearlog.web.drawing.charts.room import Room, Word
from wearlog.web.drawing.charts.throughput import MOST_POINTS, SeasonThroughput

LEFT, RIGHT, TOP, BOTTOM = 56, 10, 12, 28
WIDTH, HEIGHT = 320 - LEFT - RIGHT, 110
LEAST_REACH_PCT = 6.0
"""The axis reaches so far at least, so that small things look small."""
_Place = Callable[[float], float]
"""Where an instant or a share stands across or down the plot, in its units."""


@dataclass(frozen=True)
class Average:
    """The average after a run that ended at `at` (seconds since 1970), in per cent above usual, and the ends
    of what chance does. `stretch` numbers what a line joins: runs without a stop of two weeks."""

    at: float
    on: date
    now_pct: float
    least_pct: float
    most_pct: float
    fallen: bool
    stretch: int


@dataclass(frozen=True)
class UsualChart:
    """The picture, the sentence above it, and the averages in words: day, average, both ends of what chance
    does, and whether output has fallen."""

    svg: SafeString
    sentence: str
    rows: tuple[tuple[date, str, str, str, bool], ...]
    weekly: bool


def usual_chart(
    record: Record, press_id: int, season: SeasonThroughput, time: OverTime, *, name: str, system: str
) -> UsualChart | None:
    """The chart of the season that `season` shows, over the same time as its picture. None without a run."""
    if not season.points:
        return None
    sentence, averages = averages_of(record, press_id, season, system)
    weekly = len(averages) > MOST_POINTS
    shown = _of_weeks(averages) if weekly else averages
    label = _("Output per hour of %(press)s against its own usual. %(sentence)s")
    label %= {"press": name, "sentence": sentence}
    rows = tuple(
        (
            each.on,
            _signed(each.now_pct, system),
            _signed(each.least_pct, system),
            _signed(each.most_pct, system),
            each.fallen,
        )
        for each in shown
    )
    return UsualChart(chart_svg(spec(shown, time, system), label=label), sentence, rows, weekly)


def averages_of(
    record: Record, press_id: int, season: SeasonThroughput, system: str
) -> tuple[str, Sequence[Average]]:
    """What can be said, and the average after each run that was judged."""
    first = min(point.start for point in season.points)
    last = max(point.end for point in season.points)
    runs = paces(record, [(press_id, first, last)], dies=die_sizes_on(press_id))
    found = throughput_drift(runs.kg_per_h, runs.class_of_run)
    averages: list[Average] = []
    for place in np.flatnonzero(~np.isnan(found.average)).tolist():
        at, average, limit = float(runs.ends[place]), float(found.average[place]), float(found.limit[place])
        stretch = averages[-1].stretch if averages else 0
        if averages and at - averages[-1].at > OFF_SEASON_S:
            stretch += 1
        averages.append(
            Average(
                at=at,
                on=record.day_of(at),
                now_pct=_per_cent(average),
                least_pct=_per_cent(limit),
                most_pct=_per_cent(-limit),
                fallen=average < limit and average < float(np.log1p(-LEAST_LOSS)),
                stretch=stretch,
            )
        )
    if not averages:
        return _(
            "Nothing to compare yet: the season's first %(runs)s runs of one crop, die size, speed and "
            "moisture are its usual, and the next one gives a point."
        ) % {"runs": BASELINE_RUNS}, averages
    now = averages[-1]
    if found.since is None:
        said = drift.holds(judged=found.judged)
    else:
        since = record.day_of(float(runs.ends[found.since]))
        said = drift.fallen(loss=found.loss or 0.0, on=since, causes=found.causes, as_of=record.as_of)
    numbers = _("Average now %(now)s; chance alone makes %(least)s to %(most)s.") % {
        "now": _signed(now.now_pct, system),
        "least": _signed(now.least_pct, system),
        "most": _signed(now.most_pct, system),
    }
    return f"{said} {numbers}", averages


def _per_cent(logarithm: float) -> float:
    return float(100 * np.expm1(logarithm))


def _signed(value: float, system: str) -> str:
    number = units.show_number(abs(value), 1, system)
    zero = units.show_number(0.0, 1, system)
    sign = "" if number == zero else "+" if value > 0 else "\N{MINUS SIGN}"
    return f"{sign}{number}\N{NO-BREAK SPACE}%"


def _of_weeks(averages: Sequence[Average]) -> list[Average]:
    """The last of each week (from Monday)."""
    last = {each.on - timedelta(days=each.on.weekday()): each for each in averages}
    return list(last.values())


def spec(averages: Sequence[Average], time: OverTime, system: str) -> Spec:
    ends = [abs(each) for one in averages for each in (one.now_pct, one.least_pct, one.most_pct)]
    reach = 1.1 * max([LEAST_REACH_PCT, *ends])
    values, digits = round_steps(-reach, reach, most=5)
    numbers = {value: _tick(value, digits, system) for value in values}

    def x(at: float) -> float:
        return round(WIDTH * (at - time.left) / (time.right - time.left), 2)

    def y(value: float) -> float:
        return round(HEIGHT * (reach - value) / (2 * reach), 2)

    fallen = [
        {"x": x(one.at), "y": y(one.now_pct), "shape": "diamond", "fill": INK}
        for one in averages
        if one.fallen
    ]
    today = [rule(WIDTH, 0, WIDTH, HEIGHT, width=1.5, dash=[1.5, 4])] if time.today else []
    layers = [
        axes((time.left, time.right), [at for at, _word in time.ticks], (-reach, reach), numbers),
        *_lines(averages),
        rules("rules", [rule(0, y(0.0), WIDTH, y(0.0), width=1.5), *today]),
        *([symbols("points", fallen, size=50)] if fallen else []),
        *texts([*_words(averages, x, y, system), *_below(time, x)]),
    ]
    return whole(WIDTH, HEIGHT, (LEFT, RIGHT, TOP, BOTTOM), layers)


def _tick(value: float, digits: int, system: str) -> str:
    if not value:
        return _("usual")
    sign = "+" if value > 0 else "\N{MINUS SIGN}"
    return f"{sign}{units.show_number(abs(value), digits, system)}\N{NO-BREAK SPACE}%"


def _lines(averages: Sequence[Average]) -> Iterator[Spec]:
    """What chance does, and the average upon it; neither bridges a stop."""
    if not averages:
        return
    rows = [
        {"x": one.at, "y": one.least_pct, "y2": one.most_pct, "now": one.now_pct, "stretch": one.stretch}
        for one in averages
    ]
    yield {
        "name": "range",
        "data": {"values": rows},
        "mark": {"type": "area", "color": RANGE, "opacity": 1},
        "encoding": {
            "x": X,
            "y": {**Y, "stack": None},
            "y2": {"field": "y2"},
            "detail": {"field": "stretch"},
        },
    }
    yield {
        "name": "firm",
        "data": {"values": rows},
        "mark": {"type": "line", "color": STEEL, "strokeWidth": 2.25},
        "encoding": {"x": X, "y": {**Y, "field": "now"}, "detail": {"field": "stretch"}},
    }


def _words(averages: Sequence[Average], x: _Place, y: _Place, system: str) -> Iterator[Word]:
    if not averages:
        return
    last = averages[-1]
    room = Room(-LEFT, WIDTH - 3)  # left of the line of today
    word = _("now %(average)s") % {"average": _signed(last.now_pct, system)}
    at = y(last.now_pct)
    places = [(x(last.at), near) for near in (at - 16, at + 16) if 8 <= near <= HEIGHT - 8]
    yield from room.first_free([word], places, group="strong")


def _below(time: OverTime, x: _Place) -> Iterator[Word]:
    room = Room(-LEFT, WIDTH + RIGHT)
    if time.today:
        yield from room.first_free([time.today], [(WIDTH, HEIGHT + 18)], group="strong")
    for at, word in time.ticks:
        yield from room.first_free([word], [(x(at), HEIGHT + 18)], group="soft")
