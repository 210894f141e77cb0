"""What a tonne costs on average as a part ages: it falls while the part's price is shared by more tonnes,
and rises once each tonne loses more than the average.

A firm line is what was, a broken one what is still to come; shaded is the range of the loss. The hollow
circle is the lowest point, the bar along the axis where it matters little, dotted is today."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wearlog.calc import units
from wearlog.calc.policy import Course
from wearlog.web.drawing.charts.layers import (
    UNSCALED_X,
    UNSCALED_Y,
    axes,
    line,
    round_steps,
    rule,
    rules,
    symbols,
    texts,
    whole,
)
from wearlog.web.drawing.charts.render import INK, RANGE, SHEET, Spec, chart_svg
from wearlog.web.drawing.charts.room import Room, Word
from wearlog.web.drawing.charts.side_by_side import NARROW, WIDE, SideBySide

LEFT, RIGHT, TOP, BOTTOM, HEIGHT = 48, 12, 42, 50, 180
POINTS = 80
ROOM_ABOVE = 2.2
"""The axis reaches so many times the lowest cost: nearer to new, a tonne costs any amount."""
ROOM_BEYOND = 1.6
_Place = Callable[[float], float]
"""Where an amount stands across or down the plot, in its units."""


@dataclass(frozen=True)
class Curve:
    """In the reader's units: what a tonne costs by the least loss of the range, by the middle, and by the
    most; the tonnes so far; the tonnes at which the gauges let expect the limit. words: `lowest`, `little`,
    `today`, `limit`."""

    courses: tuple[Course, Course, Course]
    today: float
    limit: float | None
    words: Mapping[str, str]

    @property
    def right(self) -> float:
        """Where the axis ends."""
        lowest = self.courses[1].lowest or 0.0
        return max(ROOM_BEYOND * lowest, 1.25 * self.today, 1.1 * min(self.limit or 0.0, 3 * self.today))

    @property
    def top(self) -> float:
        """The highest cost of the axis."""
        least = min(course.average(self.right) for course in self.courses)
        for course in self.courses:
            if course.lowest is not None:
                least = max(least, course.average(min(course.lowest, self.right)))
        return ROOM_ABOVE * max(least, self.courses[1].average(self.today) / ROOM_ABOVE * 1.15)


def pictures(curve: Curve, system: str, label: str) -> SideBySide:
    """For a desk and for a phone."""
    wide, narrow = (chart_svg(spec(curve, width, system), label=label) for width in (WIDE, NARROW))
    return SideBySide(wide, narrow)


def spec(curve: Curve, width: int, system: str) -> Spec:
    plot, right, top = width - LEFT - RIGHT, curve.right, curve.top

    def x(tonnes: float) -> float:
        return round(plot * tonnes / right, 2)

    def y(cost: float) -> float:
        return round(HEIGHT * (1 - min(max(cost / top, 0.0), 1.0)), 2)

    tonnes, digits = round_steps(0.0, right, most=5 if width == NARROW else 9)
    costs, cost_digits = round_steps(0.0, top, most=5)
    numbers = {cost: units.show_number(cost, cost_digits, system) for cost in costs}
    low, middle, high = curve.courses
    ages = np.linspace(right / POINTS, right, POINTS).tolist()
    band = [{"x": x(age), "y": y(low.average(age)), "y2": y(high.average(age))} for age in ages]
    inside = [age for age in ages if middle.average(age) <= top]
    so_far = [(age, middle.average(age)) for age in inside if age < curve.today]
    ahead = [(age, middle.average(age)) for age in inside if age > curve.today]
    here = [(curve.today, middle.average(curve.today))]
    layers = [
        axes((0, right), tonnes, (0, top), numbers),
        {
            "name": "range",
            "data": {"values": band},
            "mark": {"type": "area", "color": RANGE, "opacity": 1},
            "encoding": {"x": UNSCALED_X, "y": UNSCALED_Y, "y2": {"field": "y2"}},
        },
        *_lines(so_far, here, ahead),
        rules("rules", list(_rules(curve, x))),
        *_marks(curve, x, y),
        *texts([*_words(curve, plot, x), *_numbers(plot, tonnes, digits, x, system)]),
    ]
    return whole(plot, HEIGHT, (LEFT, RIGHT, TOP, BOTTOM), layers)


def _lines(
    so_far: Sequence[tuple[float, float]],
    here: Sequence[tuple[float, float]],
    ahead: Sequence[tuple[float, float]],
) -> Iterator[Spec]:
    if so_far:
        yield line("firm", [*so_far, *here])
    if ahead:
        yield line("broken", [*(here if so_far else []), *ahead], broken=True)


def _rules(curve: Curve, x: _Place) -> Iterator[Spec]:
    yield rule(x(curve.today), 0, x(curve.today), HEIGHT, width=1.5, dash=[1.5, 4])
    if curve.limit is not None and curve.limit <= curve.right:
        yield rule(x(curve.limit), 0, x(curve.limit), HEIGHT, width=3.5)
    little = curve.courses[1].little
    if little is not None:
        begin, end = little[0], min(little[1], curve.right)
        yield rule(x(begin), HEIGHT, x(end), HEIGHT, width=5)


def _marks(curve: Curve, x: _Place, y: _Place) -> Iterator[Spec]:
    lowest = curve.courses[1].lowest
    rows = [
        {"x": x(curve.today), "y": y(curve.courses[1].average(curve.today)), "shape": "circle", "fill": INK}
    ]
    if lowest is not None and lowest <= curve.right:
        cost = curve.courses[1].average(lowest)
        rows.append({"x": x(lowest), "y": y(cost), "shape": "circle", "fill": SHEET})
    yield symbols("points", rows, size=80)


def _words(curve: Curve, plot: float, x: _Place) -> Iterator[Word]:
    above = Room(-LEFT, plot + RIGHT)
    yield from above.first_free([curve.words["today"]], [(x(curve.today), -10)], group="strong")
    lowest = curve.courses[1].lowest
    shown = curve.limit is not None and curve.limit <= curve.right
    places = [(x(curve.limit or 0.0), -10), (x(curve.limit or 0.0), -28)] if shown else []
    yield from above.first_free([curve.words["limit"]] if places else [], places)
    if lowest is not None and lowest <= curve.right:
        below = Room(-LEFT, plot + RIGHT)
        yield from below.first_free(
            [curve.words["little"], curve.words["lowest"]], [(x(lowest), HEIGHT + 38)], group="now"
        )


def _numbers(plot: float, tonnes: Sequence[float], digits: int, x: _Place, system: str) -> Iterator[Word]:
    room = Room(-LEFT, plot + RIGHT)
    for value in tonnes:
        word = units.show_number(value, digits, system)
        yield from room.first_free([word], [(x(value), HEIGHT + 17)], group="soft")
