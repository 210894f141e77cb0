"""Bars that show by their texture what they stand for (a crop, a kind of cost), so that they read without
colour: plain, hatched, dotted, crossed, lined. Each is a path in units of the plot, for `layers.symbols` with
the size 4."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from wearlog.web.drawing.charts.render import SHEET, WASH

BAR = 13.0
STEP = 7.0
PLAIN, HATCHED, DOTTED, CROSSED = range(4)
LINED = -1
"""Of no crop."""


def bar(
    x: float,
    y: float,
    width: float,
    crop: int | None,
    *,
    height: float = BAR,
    dash: Sequence[float] | None = None,
) -> Iterator[dict[str, object]]:
    """The outline and the texture of the crop's number (None: none at all), as rows for `symbols`; further
    crops have the last texture. `dash`: how the outline is broken, where a chart tells that."""
    width = max(width, 1.0)
    more = {} if dash is None else {"dash": list(dash)}
    fill = WASH if crop == PLAIN else SHEET
    outline = f"M0,0L{width:.1f},0L{width:.1f},{height:g}L0,{height:g}Z"
    yield {"x": round(x, 1), "y": y, "shape": outline, "fill": fill, **more}
    inside = "" if crop is None else _texture(min(crop, CROSSED), width, height)
    if inside:
        yield {
            "x": round(x, 1),
            "y": y,
            "shape": inside,
            "fill": SHEET,
            **({} if dash is None else {"dash": []}),
        }


def _texture(crop: int, width: float, height: float) -> str:
    if crop == HATCHED:
        return _strokes(width, height, rising=True)
    if crop == CROSSED:
        return _strokes(width, height, rising=True) + _strokes(width, height, rising=False)
    if crop == LINED:
        return "".join(f"M0,{height * part:.1f}h{width:.1f}" for part in (0.2, 0.4, 0.6, 0.8))
    if crop == DOTTED:
        rows = [height * share for share in (0.3, 0.7)]
        return "".join(
            f"M{x:.1f},{y:.1f}l0.9,0.9"
            for number, y in enumerate(rows)
            for x in _steps(2.5 + number * STEP / 2, width - 2.5, STEP)
        )
    return ""


def hatching(width: float, height: float, step: float) -> str:
    """The path of falling strokes over an area where nothing is pressed."""
    return _strokes(width, height, rising=False, step=step)


def _strokes(width: float, height: float, *, rising: bool, step: float = STEP) -> str:
    """Strokes at 45 degrees, cut off at the sides."""
    found = []
    for begin in _steps(-height + step, width, step):
        left, right = max(begin, 0.0), min(begin + height, width)
        if right - left < 1.5:
            continue
        ends = [height - (left - begin), height - (right - begin)]
        if not rising:
            ends = [height - end for end in ends]
        found.append(f"M{left:.1f},{ends[0]:.1f}L{right:.1f},{ends[1]:.1f}")
    return "".join(found)


def _steps(begin: float, end: float, step: float) -> Iterator[float]:
    while begin < end:
        yield begin
        begin += step
