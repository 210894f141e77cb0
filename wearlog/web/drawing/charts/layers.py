"""Pieces that the descriptions of charts (Vega-Lite) have in common: the whole, axes, symbols and words."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence

from wearlog.web.drawing.charts.render import INK, LINE, SHEET, SOFT, STEEL, Spec
from wearlog.web.drawing.charts.room import FONT, Word

X, Y = {"field": "x", "type": "quantitative"}, {"field": "y", "type": "quantitative"}
UNSCALED_X, UNSCALED_Y = {**X, "scale": None, "axis": None}, {**Y, "scale": None, "axis": None}


def whole(
    width: float, height: float, padding: tuple[float, float, float, float], layers: Sequence[Spec]
) -> Spec:
    """A chart of layers with a plot of this size. padding: left, right, top and bottom of it."""
    left, right, top, bottom = padding
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "autosize": "none",
        "padding": {"left": left, "right": right, "top": top, "bottom": bottom},
        "width": width,
        "height": height,
        "config": {
            "background": None,
            "view": {"stroke": None},
            "text": {"fontSize": FONT, "fill": INK, "baseline": "middle"},
        },
        "layer": list(layers),
    }


def round_steps(low: float, high: float, *, most: int = 6) -> tuple[list[float], int]:
    """The multiples of 1, 2 or 5 times a power of ten between two numbers, `most` at most, and with how many
    decimals they are written."""
    for power in range(-5, 9):
        for digit in (1, 2, 5):
            step = digit * 10.0**power
            first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
            if last - first + 1 <= most:
                digits = max(0, -power)
                return [round(number * step, digits) for number in range(first, last + 1)], digits
    return [low], 0


def axes(
    x_domain: tuple[float, float],
    x_values: Sequence[float],
    y_domain: tuple[float, float],
    y_words: Mapping[float, str],
) -> Spec:
    """The rule below with its ticks, and lines across with their numbers."""
    words = json.dumps({_key(value): word for value, word in y_words.items()})
    y_axis = {
        "values": list(y_words),
        "labelExpr": f"{words}['' + datum.value]",
        "domain": False,
        "ticks": False,
        "gridColor": LINE,
        "labelColor": SOFT,
        "labelFontSize": FONT,
        "labelPadding": 6,
        "title": None,
    }
    x_axis = {
        "values": list(x_values),
        "labels": False,
        "grid": False,
        "domainColor": INK,
        "domainWidth": 1.5,
        "tickColor": INK,
        "tickSize": 5,
        "title": None,
    }
    x_scale = {"domain": list(x_domain), "nice": False, "zero": False}
    y_scale = {"domain": list(y_domain), "nice": False, "zero": False}
    return {
        "name": "frame",
        "data": {"values": [{"x": x_domain[0], "y": y_domain[0]}]},
        "mark": {"type": "point", "opacity": 0, "size": 0},
        "encoding": {
            "x": {**X, "scale": x_scale, "axis": x_axis},
            "y": {**Y, "scale": y_scale, "axis": y_axis},
        },
    }


def _key(value: float) -> str:
    """The number as the library writes it."""
    return repr(float(value)).removesuffix(".0") if abs(value) < 1e15 else str(round(value))


def line(name: str, places: Sequence[tuple[float, float]], *, broken: bool = False) -> Spec:
    """A line of the estimate through places of the scales."""
    return {
        "name": name,
        "data": {"values": [{"x": x, "y": y} for x, y in places]},
        "mark": {
            "type": "line",
            "color": STEEL,
            "strokeWidth": 2.25,
            **({"strokeDash": [7, 5]} if broken else {}),
        },
        "encoding": {"x": X, "y": Y},
    }


def rules(name: str, rows: Sequence[Mapping[str, object]], *, color: str = INK) -> Spec:
    """Straight lines between two places of the plot in its own units: rows of x, y, x2, y2, width, dash."""
    return {
        "name": name,
        "data": {"values": list(rows)},
        "mark": {"type": "rule", "color": color},
        "encoding": {
            "x": UNSCALED_X,
            "y": UNSCALED_Y,
            "x2": {"field": "x2"},
            "y2": {"field": "y2"},
            "strokeDash": {"field": "dash", "scale": None, "legend": None, "type": "nominal"},
            "strokeWidth": {"field": "width", "scale": None, "legend": None, "type": "quantitative"},
        },
    }


def rule(x: float, y: float, x2: float, y2: float, *, width: float = 1, dash: Sequence[float] = ()) -> Spec:
    return {"x": x, "y": y, "x2": x2, "y2": y2, "width": width, "dash": list(dash)}


def symbols(
    name: str,
    rows: Sequence[Mapping[str, object]],
    *,
    size: float = 60,
    stroke: float = 1.75,
    color: str = INK,
) -> Spec:
    """Marks in units of the plot: rows of x, y, shape and fill. A shape may be a path in the library's way of
    writing them; with the size 4 its units are those of the plot."""
    return {
        "name": name,
        "data": {"values": list(rows)},
        "mark": {"type": "point", "stroke": color, "strokeWidth": stroke, "size": size, "opacity": 1},
        "encoding": {
            "x": UNSCALED_X,
            "y": UNSCALED_Y,
            "shape": {"field": "shape", "scale": None, "legend": None, "type": "nominal"},
            "fill": {"field": "fill", "scale": None, "legend": None, "type": "nominal"},
            **(
                {"strokeDash": {"field": "dash", "scale": None, "legend": None, "type": "nominal"}}
                if any("dash" in row for row in rows)
                else {}
            ),
        },
    }


def texts(words: Sequence[Word]) -> Iterator[Spec]:
    """A layer for each group of words: `words`, `soft`, `strong`, `now` for what is estimated, `locked` for
    those on a black ground; `from` and `to` are words that begin and end at their place, bold
    or not."""
    marks: dict[str, dict[str, object]] = {
        "words": {},
        "soft": {"fill": SOFT},
        "strong": {"fontWeight": "bold"},
        "now": {"fontWeight": "bold", "fill": STEEL},
        "locked": {"fontWeight": "bold", "fill": SHEET},
        "from": {"align": "left"},
        "to": {"align": "right"},
        "bold_from": {"align": "left", "fontWeight": "bold"},
        "bold_to": {"align": "right", "fontWeight": "bold"},
    }
    for name, mark in marks.items():
        rows = [
            {"word": word, "x": round(x, 1), "y": round(y, 1)} for group, word, x, y in words if group == name
        ]
        if rows:
            yield {
                "name": name,
                "data": {"values": rows},
                "mark": {"type": "text", **mark},
                "encoding": {"x": UNSCALED_X, "y": UNSCALED_Y, "text": {"field": "word"}},
            }
