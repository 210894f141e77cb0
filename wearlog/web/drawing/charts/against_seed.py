"""The description of the chart of one edge's wear against the seed that it took, in Vega-Lite.

The dimension runs upward toward the limit, for what grows and what shrinks. Below the axis stand the crops,
above the plot the work. 320 units wide, as the chart over time.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from wearlog.forecasts.along import GaugeAlong, WearAlong, WearPoint
from wearlog.web.drawing.charts.layers import (
    UNSCALED_X,
    UNSCALED_Y,
    axes,
    line,
    rule,
    rules,
    symbols,
    texts,
    whole,
)
from wearlog.web.drawing.charts.over_time import NEAR, WORD_ROWS
from wearlog.web.drawing.charts.render import INK, RANGE, SHEET, Spec
from wearlog.web.drawing.charts.room import CHARACTER, Box, Room, Word
from wearlog.web.drawing.charts.textures import bar

LEFT, RIGHT = 50, 10
WIDTH, HEIGHT = 320 - LEFT - RIGHT, 176
NUMBERS, BAR_TOP, CROP_WORDS = HEIGHT + 17, HEIGHT + 30, (HEIGHT + 54, HEIGHT + 71, HEIGHT + 88)
PIN = "M-6,0L6,0M0,-6L0,6"


@dataclass(frozen=True)
class Mark:
    """Work, or a time off, above the plot: its wordings from the fullest to the shortest. `square`: work that
    shifted the dimension; else a triangle."""

    seed_kg: float
    square: bool
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Panel:
    """What is drawn. `right_kg` is where the axis ends, `bottom_mm` and `top_mm` the ends of the other one:
    alike for all edges of a part. ticks and sizes: kilograms and millimetres with their words.

    limit: the word at the limit. at_limit: the words where the line meets it, and its range. now: wordings at
    today's line. remarks: the wordings at a gauge that counts little or was taken with a pin, by its id."""

    along: WearAlong
    right_kg: float
    bottom_mm: float
    top_mm: float
    ticks: Sequence[tuple[float, str]]
    sizes: Mapping[float, str]
    crops: Sequence[str]
    limit: str
    at_limit: Sequence[str]
    now: Sequence[str]
    marks: Sequence[Mark]
    remarks: Mapping[int, Sequence[str]]

    def x(self, seed_kg: float) -> float:
        """Units from the left of the plot."""
        return WIDTH * seed_kg / self.right_kg

    def y(self, mm: float) -> float:
        """Units from the top of the plot; what lies beyond it is put on its edge."""
        share = (self.top_mm - mm) / (self.top_mm - self.bottom_mm)
        return HEIGHT * min(max(share, 0.0), 1.0)


def spec(panel: Panel) -> Spec:
    """Axes, range and line, limit, gauges, work above, crops below, and words."""
    marks = list(_placed(panel))
    above, below = list(_words_above(marks, panel)), list(_words_below(panel))
    words = [*above, *_words_within(panel), *below]
    layers = [
        axes(
            (0, panel.right_kg),
            [kg for kg, _ in panel.ticks],
            (panel.bottom_mm, panel.top_mm),
            panel.sizes,
        ),
        *_range(panel),
        *_line(panel),
        rules("rules", list(_rules(panel, marks))),
        *_bars(panel),
        *_symbols(panel, marks),
        *texts(words),
    ]
    top = 10 - min((y for *_, y in above), default=-6 if marks else 0)
    bottom = 13 + max((y for *_, y in below), default=NUMBERS) - HEIGHT
    return whole(WIDTH, HEIGHT, (LEFT, RIGHT, top, bottom), layers)


# --- layers -----------------------------------------------------------------------------------------------


def _points(panel: Panel) -> list[WearPoint]:
    return [*panel.along.so_far, *panel.along.ahead]


def _range(panel: Panel) -> Iterator[Spec]:
    points = _points(panel)
    if len(points) < 2:
        return
    rows = [
        {"x": round(panel.x(p.seed_kg), 2), "y": panel.y(p.low_mm), "y2": panel.y(p.high_mm)} for p in points
    ]
    yield {
        "name": "range",
        "data": {"values": rows},
        "mark": {"type": "area", "color": RANGE, "opacity": 1},
        "encoding": {"x": UNSCALED_X, "y": UNSCALED_Y, "y2": {"field": "y2"}},
    }


def _line(panel: Panel) -> Iterator[Spec]:
    for name, points in (("firm", panel.along.so_far), ("broken", panel.along.ahead)):
        places = [(p.seed_kg, p.mid_mm) for p in points if _within(panel, p.mid_mm)]
        if len(places) > 1:
            yield line(name, places, broken=name == "broken")


def _within(panel: Panel, mm: float) -> bool:
    low, high = sorted((panel.bottom_mm, panel.top_mm))
    return low <= mm <= high


def _rules(panel: Panel, marks: Sequence[Mark]) -> Iterator[Spec]:
    """The limit, today (dotted), the range of the limit, and a line down from each mark."""
    along, limit = panel.along, panel.y(panel.along.limit_mm)
    yield rule(0, limit, WIDTH, limit, width=3.5)
    for mark in marks:
        yield rule(
            panel.x(mark.seed_kg), 0, panel.x(mark.seed_kg), HEIGHT, dash=[3, 3] if mark.square else []
        )
    if along.used:
        now = panel.x(along.now_kg)
        yield rule(now, 0, now, HEIGHT, width=1.5, dash=[1.5, 4])
    if along.limit is not None and panel.at_limit:
        end = along.limit.high_kg
        left = panel.x(along.limit.low_kg)
        right = WIDTH if end is None else min(panel.x(end), WIDTH)
        at = limit + 9
        yield rule(left, at, right, at, width=1.5)
        for x in (left, right) if right < WIDTH else (left,):
            yield rule(x, at - 4, x, at + 4, width=1.5)


def _bars(panel: Panel) -> Iterator[Spec]:
    """The crops under the axis, each in its texture."""
    pieces = [
        (panel.x(one.from_kg), panel.x(one.to_kg) - panel.x(one.from_kg), one.crop)
        for one in panel.along.stretches
    ]
    rows = [
        row
        for x, width, crop in pieces
        for row in bar(x, BAR_TOP, width, panel.crops.index(crop) if crop else None)
    ]
    if rows:
        yield symbols("bars", rows, size=4, stroke=1)


def _symbols(panel: Panel, marks: Sequence[Mark]) -> Iterator[Spec]:
    gauges = [gauge for gauge in panel.along.gauges if not gauge.beside]
    plain = [_gauge(panel, gauge) for gauge in gauges if not gauge.bound]
    if plain:
        yield symbols("points", plain)
    pins = [_gauge(panel, gauge) for gauge in gauges if gauge.bound]
    if pins:
        yield symbols("pins", pins, size=4, stroke=2)
    above = [
        {
            "x": panel.x(mark.seed_kg),
            "y": -6,
            "shape": "square" if mark.square else "triangle-down",
            "fill": SHEET if mark.square else INK,
        }
        for mark in marks
    ]
    if above:
        yield symbols("work", above, size=80)


def _gauge(panel: Panel, gauge: GaugeAlong) -> dict[str, object]:
    return {
        "x": round(panel.x(gauge.seed_kg), 2),
        "y": round(panel.y(gauge.value_mm), 2),
        "shape": PIN if gauge.bound else "circle",
        "fill": SHEET if gauge.counts_little else INK,
    }


def _placed(panel: Panel) -> Iterator[Mark]:
    """The marks that have room beside each other, the latest first."""
    placed: list[float] = []
    for mark in reversed(panel.marks):
        x = panel.x(mark.seed_kg)
        if x <= WIDTH and all(abs(x - other) >= NEAR for other in placed):
            placed.append(x)
            yield mark


# --- words ------------------------------------------------------------------------------------------------


def _words_above(marks: Sequence[Mark], panel: Panel) -> Iterator[Word]:
    room = Room(-LEFT, WIDTH + RIGHT)
    for mark in marks:
        yield from room.first_free(mark.words, [(panel.x(mark.seed_kg), y) for y in WORD_ROWS])


def _words_within(panel: Panel) -> Iterator[Word]:
    """The limit, where the line meets it, today, and the gauges that are remarked on, where there is room
    beside the line, the gauges and each other."""
    along = panel.along
    room = Room(-4, WIDTH + RIGHT, list(_taken(panel)))
    limit = panel.y(along.limit_mm)
    for x in (0.0, WIDTH):
        found = room.take(panel.limit, x, limit - 11)
        if found is not None:
            yield "strong", panel.limit, found, limit - 11
            break
    below = range(round(limit) + 24, HEIGHT - 8, 6)
    if along.limit is not None and panel.at_limit:
        x = panel.x(min(along.limit.mid_kg, panel.right_kg))
        yield from _pair(room, panel.at_limit, x, below)
    if along.now is not None and panel.now:
        x, y = panel.x(along.now_kg), panel.y(along.now.mid_mm)
        half = max(len(word) for word in panel.now) * CHARACTER / 2 + 6
        heights = sorted(range(8, HEIGHT - 6, 6), key=lambda height: abs(height - y))
        tried = [(x + side, height) for height in heights for side in (half, -half, 0)]
        yield from room.first_free(panel.now, tried, group="now")
    for gauge in along.gauges:
        said = panel.remarks.get(gauge.id)
        if said:
            x, y = panel.x(gauge.seed_kg), panel.y(gauge.value_mm)
            half = len(said[0]) * CHARACTER / 2 + 10
            near = [(x + side, y + up) for up in (0, -15, 15, -24, 24, -33, 33) for side in (half, -half, 0)]
            yield from room.first_free(said, [(a, b) for a, b in near if 6 < b < HEIGHT - 6])


def _pair(room: Room, words: Sequence[str], x: float, heights: Sequence[int]) -> Iterator[Word]:
    """Two lines of words, one right below the other, where both find room; else the first alone."""
    longest = max(words, key=len)
    for y in heights:
        before = list(room.taken)
        at = [room.take(longest, x, y + 17 * number) for number in range(len(words))]
        if all(one is not None for one in at) and y + 17 * (len(words) - 1) <= HEIGHT - 8:
            for number, (word, found) in enumerate(zip(words, at, strict=True)):
                yield ("strong" if number == 0 else "soft"), word, found or 0.0, y + 17.0 * number
            return
        room.taken[:] = before
    yield from room.first_free(words[:1], [(x, y) for y in heights], group="strong")


def _taken(panel: Panel) -> Iterator[Box]:
    """What words must not cover: the line, the limit, the gauges."""
    limit = panel.y(panel.along.limit_mm)
    yield -10, limit - 2, WIDTH + 10, limit + 2
    for one, other in pairwise(_points(panel)):
        steps = max(1, round((panel.x(other.seed_kg) - panel.x(one.seed_kg)) / 5))
        for step in range(steps + 1):
            share = step / steps
            x = panel.x(one.seed_kg + share * (other.seed_kg - one.seed_kg))
            y = panel.y(one.mid_mm + share * (other.mid_mm - one.mid_mm))
            yield x - 2, y - 3, x + 2, y + 3
    for gauge in panel.along.gauges:
        x, y = panel.x(gauge.seed_kg), panel.y(gauge.value_mm)
        yield x - 5, y - 5, x + 5, y + 5


def _words_below(panel: Panel) -> Iterator[Word]:
    """The numbers of the axis, and the crops under their bars: each of them first, at its longest stretch,
    then again where there is room."""
    room = Room(-LEFT, WIDTH + RIGHT)
    for kg, word in panel.ticks:
        found = room.take(word, panel.x(kg), NUMBERS)
        if found is not None:
            yield "soft", word, found, NUMBERS
    longest = sorted(
        (one for one in panel.along.stretches if one.crop), key=lambda one: one.from_kg - one.to_kg
    )
    named: set[str] = set()
    for again in (False, True):
        for one in longest:
            if again == (one.crop in named):
                middle = panel.x((one.from_kg + one.to_kg) / 2)
                rows = CROP_WORDS[:1] if again else CROP_WORDS
                for placed in room.first_free([one.crop], [(middle, y) for y in rows]):
                    named.add(one.crop)
                    yield placed
