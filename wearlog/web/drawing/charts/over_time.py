"""The description of the chart of throughput over time, in Vega-Lite, and where its words stand.

It is 320 units wide, about the width of a phone's column, so that a unit is about a pixel there. The library
draws scales, axes and marks; where words stand is settled here, so that none covers another or a point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from wearlog.web.drawing.charts.layers import X, Y, axes, texts, whole
from wearlog.web.drawing.charts.render import INK, SHEET, STEEL, Spec
from wearlog.web.drawing.charts.room import CHARACTER, Box, Room, Word
from wearlog.web.drawing.charts.throughput import MARKED, MarkedWork, RatePoint

LEFT, RIGHT, TOP, BOTTOM = 40, 10, 46, 28
WIDTH, HEIGHT = 320 - LEFT - RIGHT, 98
NEAR = 14
"""Triangles closer than this many units would overlap: the one that is named first stands for both."""
WORD_ROWS = (-19, -36)
"""How far above the plot the words of work stand."""
SHAPES = (
    ("circle", INK),
    ("circle", SHEET),
    ("square", INK),
    ("square", SHEET),
    ("diamond", INK),
    ("diamond", SHEET),
)
"""Form and filling of the points of each crop in turn; further crops have the last one."""


@dataclass(frozen=True, kw_only=True)
class OverTime:
    """What is drawn. Instants are seconds since 1970; heights are in the reader's unit per hour.

    crops: in the order of `SHAPES`. ticks: instants and words. words_of: the word of each work of `MARKED`.
    last: the word at the last point. today: its word where the axis ends with today, else empty."""

    points: Sequence[RatePoint]
    heights: Sequence[float]
    crops: Sequence[str]
    work: Sequence[MarkedWork]
    ticks: Sequence[tuple[float, str]]
    left: float
    right: float
    last: str
    today: str
    words_of: dict[str, str]
    decimal_comma: bool = False

    def x(self, instant: float) -> float:
        """Units from the left of the plot."""
        return WIDTH * (instant - self.left) / (self.right - self.left)


def scale_top(heights: Sequence[float]) -> tuple[float, float]:
    """The top of the axis, which begins at 0, and the step between its ticks, of 1, 2 or 5: at most six."""
    highest = max(heights, default=0.0)
    if highest <= 0:
        return 1.0, 1.0
    for power in range(-3, 9):
        for digit in (1, 2, 5):
            step = digit * 10.0**power
            if highest * 1.02 <= 6 * step:
                return step * math.ceil(highest * 1.02 / step), step
    return highest, highest


def spec(shown: OverTime) -> Spec:
    """Axis and points, lines through stretches of points, triangles above for work, and words."""
    top, step = scale_top(shown.heights)
    heights = [HEIGHT * (1 - height / top) for height in shown.heights]
    marks = list(marked(shown))
    room = _room(
        [
            (shown.x(p.middle) - 5, y - 5, shown.x(p.middle) + 5, y + 5)
            for p, y in zip(shown.points, heights, strict=True)
        ]
    )
    named = list(_words_of_work(shown, marks))
    words = [*(word for _, word in named), *_words_of_points(shown, heights, room)]
    numbers = _numbers(top, step, shown) if shown.points else {0.0: "0"}
    layers = [
        axes((shown.left, shown.right), [at for at, _ in shown.ticks], (0, top), numbers),
        _rules(shown, [work.at for work, _ in named]),
        *_lines(shown),
        _dots(shown),
        _triangles(shown, marks),
        *texts([*words, *_words_below(shown)]),
    ]
    return whole(WIDTH, HEIGHT, (LEFT, RIGHT, TOP, BOTTOM), layers)


def marked(shown: OverTime) -> Iterator[MarkedWork]:
    """The work that has a triangle: of what lies too near together the one named first."""
    placed: list[float] = []
    for work in sorted(shown.work, key=lambda work: (MARKED.index(work.action), -work.at)):
        x = shown.x(work.at)
        if 0 <= x <= WIDTH and all(abs(x - other) >= NEAR for other in placed):
            placed.append(x)
            yield work


def _numbers(top: float, step: float, shown: OverTime) -> dict[float, str]:
    digits = max(0, -math.floor(math.log10(step)))
    values = [round(step * number, digits) for number in range(round(top / step) + 1)]
    words = {value: f"{value:.{digits}f}" for value in values}
    return {value: word.replace(".", ",") if shown.decimal_comma else word for value, word in words.items()}


# --- words ------------------------------------------------------------------------------------------------


def _room(taken: Sequence[Box] = ()) -> Room:
    return Room(-LEFT, WIDTH + RIGHT, list(taken))


def _words_of_work(shown: OverTime, marks: Sequence[MarkedWork]) -> Iterator[tuple[MarkedWork, Word]]:
    """In two rows above the triangles, as many as there is room for, each with the work that it names."""
    room = _room()
    for work in marks:
        word = shown.words_of[work.action]
        for y in WORD_ROWS:
            x = room.take(word, shown.x(work.at), y)
            if x is not None:
                yield work, ("words", word, x, y)
                break


def _words_of_points(shown: OverTime, heights: Sequence[float], room: Room) -> Iterator[Word]:
    """What the last point is, and the crop at its longest stretch that leaves room below or above."""
    if not shown.points:
        return
    x, y = shown.x(shown.points[-1].middle), heights[-1]
    for at in (y - 18, y + 18, y - 34, y + 34):
        found = room.take(shown.last, x, at) if 8 <= at <= HEIGHT - 8 else None
        if found is not None:
            yield "strong", shown.last, found, at
            break
    places = list(zip(shown.points, heights, strict=True))
    stretches = [list(of) for _, of in groupby(places, key=lambda place: place[0].stretch)]
    for crop in shown.crops:
        own = sorted((of for of in stretches if of[0][0].crop == crop), key=len, reverse=True)
        yield "words", crop, *_beside(crop, own, shown, room)


def _beside(
    crop: str, stretches: Sequence[Sequence[tuple[RatePoint, float]]], shown: OverTime, room: Room
) -> tuple[float, float]:
    tried = []
    for stretch in stretches:
        x = sum(shown.x(point.middle) for point, _ in stretch) / len(stretch)
        near = [y for point, y in stretch if abs(shown.x(point.middle) - x) < len(crop) * CHARACTER / 2 + 8]
        low, high = max(near, default=stretch[0][1]), min(near, default=stretch[0][1])
        tried += [(x, low + 17), (x, high - 17), (x, low + 33), (x, high - 33)]
    tried = [(x, y) for x, y in tried if 8 <= y <= HEIGHT - 8] or tried
    for x, y in tried:
        found = room.take(crop, x, y)
        if found is not None:
            return found, y
    x, y = tried[0]
    return room.take(crop, x, y, always=True) or x, y


def _words_below(shown: OverTime) -> Iterator[Word]:
    room, y = _room(), HEIGHT + 18
    if shown.today:
        x = room.take(shown.today, shown.x(shown.right), y)
        yield "strong", shown.today, x or 0.0, y
    for at, word in shown.ticks:
        found = room.take(f"{word} ", shown.x(at), y)
        if found is not None:
            yield "soft", word, found, y


# --- layers -----------------------------------------------------------------------------------------------


def _rules(shown: OverTime, instants: Sequence[float]) -> Spec:
    """A thin line down from each triangle that has a word, and the dotted one of today."""
    rows: list[dict[str, object]] = [{"x": at, "dash": [], "width": 1} for at in instants]
    if shown.today:
        rows.append({"x": shown.right, "dash": [1.5, 4], "width": 1.5})
    return {
        "name": "rules",
        "data": {"values": rows},
        "mark": {"type": "rule", "color": INK},
        "encoding": {
            "x": X,
            "strokeDash": {"field": "dash", "scale": None, "legend": None, "type": "nominal"},
            "strokeWidth": {"field": "width", "scale": None, "legend": None, "type": "quantitative"},
        },
    }


def _lines(shown: OverTime) -> Iterator[Spec]:
    """A firm line through the stretches of every other crop, a broken one through the others'."""
    for name, dash in (("firm", []), ("broken", [7, 5])):
        rows = [
            {"x": point.middle, "y": height, "stretch": point.stretch}
            for point, height in zip(shown.points, shown.heights, strict=True)
            if (shown.crops.index(point.crop) % 2 == 0) == (not dash)
        ]
        if rows:
            mark = {
                "type": "line",
                "color": STEEL,
                "strokeWidth": 2.25,
                **({"strokeDash": dash} if dash else {}),
            }
            yield {
                "name": name,
                "data": {"values": rows},
                "mark": mark,
                "encoding": {"x": X, "y": Y, "detail": {"field": "stretch"}},
            }


def _dots(shown: OverTime) -> Spec:
    rows = []
    for point, height in zip(shown.points, shown.heights, strict=True):
        shape, fill = SHAPES[min(shown.crops.index(point.crop), len(SHAPES) - 1)]
        rows.append({"x": point.middle, "y": height, "shape": shape, "fill": fill})
    return {
        "name": "points",
        "data": {"values": rows},
        "mark": {"type": "point", "stroke": INK, "strokeWidth": 1.75, "size": 60, "opacity": 1},
        "encoding": {
            "x": X,
            "y": Y,
            "shape": {"field": "shape", "scale": None, "legend": None, "type": "nominal"},
            "fill": {"field": "fill", "scale": None, "legend": None, "type": "nominal"},
        },
    }


def _triangles(shown: OverTime, marks: Sequence[MarkedWork]) -> Spec:
    return {
        "name": "work",
        "data": {"values": [{"x": work.at} for work in marks]},
        "mark": {
            "type": "point",
            "shape": "triangle-down",
            "fill": INK,
            "stroke": None,
            "size": 90,
            "opacity": 1,
        },
        "encoding": {"x": X, "y": {"value": -5}},
    }
