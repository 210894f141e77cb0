"""The description of the chart of one press's hours per tonne from season to season, in Vega-Lite.

320 units wide, as the chart over time; one press a chart, all on the same scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from wearlog.web.drawing.charts.layers import axes, line, rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.render import INK, SHEET, Spec
from wearlog.web.drawing.charts.room import Room, Word

LEFT, RIGHT, TOP, BOTTOM = 44, 10, 14, 28
WIDTH, HEIGHT = 320 - LEFT - RIGHT, 84


@dataclass(frozen=True)
class SeasonPoint:
    """`place` counts the seasons from 0. `word` is the value as it stands at the point. `as_pressed`: not at
    crops that make seasons comparable. `low` and `high` are None without a range."""

    place: int
    value: float
    low: float | None
    high: float | None
    word: str
    as_pressed: bool


@dataclass(frozen=True, kw_only=True)
class BySeason:
    """seasons: their names. sizes: the numbers of the axis, which begins at 0 and ends at `top`. none: the
    word for a season without runs."""

    points: Sequence[SeasonPoint]
    seasons: Sequence[str]
    top: float
    sizes: Mapping[float, str]
    none: str

    def x(self, place: float) -> float:
        """The middle of a season, in units of the plot."""
        return WIDTH * (place + 0.5) / len(self.seasons)

    def y(self, value: float) -> float:
        return HEIGHT * (1 - value / self.top)


def spec(shown: BySeason) -> Spec:
    """Axes, a line for each stretch of seasons in a row, points with their ranges, and words."""
    layers = [
        axes((0, len(shown.seasons)), [], (0, shown.top), shown.sizes),
        *_lines(shown),
        *_ranges(shown),
        *_points(shown),
        *texts(list(_words(shown))),
    ]
    return whole(WIDTH, HEIGHT, (LEFT, RIGHT, TOP, BOTTOM), layers)


def _lines(shown: BySeason) -> Iterator[Spec]:
    stretches: list[list[SeasonPoint]] = []
    for point in shown.points:
        if stretches and stretches[-1][-1].place == point.place - 1:
            stretches[-1].append(point)
        else:
            stretches.append([point])
    for stretch in stretches:
        if len(stretch) > 1:
            yield line("firm", [(point.place + 0.5, point.value) for point in stretch])


def _ranges(shown: BySeason) -> Iterator[Spec]:
    rows = []
    for point in shown.points:
        if point.low is not None and point.high is not None:
            x, low, high = shown.x(point.place), shown.y(point.low), shown.y(min(point.high, shown.top))
            rows.append(rule(x, low, x, high, width=1.5))
            rows += [rule(x - 4, end, x + 4, end, width=1.5) for end in (low, high)]
    if rows:
        yield rules("ranges", rows)


def _points(shown: BySeason) -> Iterator[Spec]:
    rows = [
        {
            "x": round(shown.x(point.place), 2),
            "y": round(shown.y(point.value), 2),
            "shape": "diamond" if point.as_pressed else "circle",
            "fill": SHEET if point.as_pressed else INK,
        }
        for point in shown.points
    ]
    if rows:
        yield symbols("points", rows)


def _words(shown: BySeason) -> Iterator[Word]:
    """The last value first, then the first one, then the others where there is room; the seasons below."""
    room = Room(-LEFT, WIDTH + RIGHT)
    for point in shown.points:
        x, y = shown.x(point.place), shown.y(point.value)
        room.taken.append((x - 6, y - 6, x + 6, y + 6))
    points = list(shown.points)
    for point in [*points[-1:], *points[:1], *points[1:-1]] if len(points) > 1 else points:
        x, y = shown.x(point.place), shown.y(point.value)
        near = [(x, y + up) for up in (17, -17) if 2 <= y + up <= HEIGHT - 8]
        yield from room.first_free([point.word], near, group="strong" if point is points[-1] else "words")
    ran = {point.place for point in points}
    for place in range(len(shown.seasons)):
        if place not in ran:
            yield from room.first_free([shown.none, "–"], [(shown.x(place), HEIGHT - 12)], group="soft")
    for place, name in reversed(list(enumerate(shown.seasons))):
        yield from room.first_free([name], [(shown.x(place), HEIGHT + 17)], group="soft")
