"""The share of parts still working by age: counted in steps, with its range, and the fitted curve.

The firm line is what was counted, the broken one the fit; shaded is the 95 % range of the count. A tick is
a part whose watching ended without a failure (censored: still in use, or taken off)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.reliability import AgeUnit, TypeLives
from wearlog.web.drawing.charts.layers import (
    UNSCALED_X,
    UNSCALED_Y,
    X,
    Y,
    axes,
    line,
    round_steps,
    rule,
    rules,
    texts,
    whole,
)
from wearlog.web.drawing.charts.render import RANGE, Spec, chart_svg
from wearlog.web.drawing.charts.room import Room, Word

LEFT, RIGHT, TOP, BOTTOM = 52, 12, 10, 44
WIDTH, HEIGHT = 320 - LEFT - RIGHT, 130
CURVE_POINTS = 40
AS_WRITTEN: Spec = {"value": None}
"""Joins places in their order, not by x: an upright step has two places at one age."""
SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
_Place = Callable[[float], float]
"""Where an amount stands across or down the plot, in its units."""


@dataclass(frozen=True)
class Survivors:
    """`rows` are the steps as a table tells them: age, and the share with both ends of its range in per
    cent."""

    svg: SafeString
    rows: tuple[tuple[str, str, str, str], ...]
    fitted: bool


def survivors(
    lives: TypeLives, words: str, system: str, show_age: Callable[[float], str]
) -> Survivors | None:
    """The picture in the reader's units, or None without a failure, when there is no step to draw. `words`
    tell the steps to who can't see it; `show_age` writes an age."""
    if not lives.steps:
        return None
    title = _("Share of parts still working by age")
    label = f"{title}. {words}"
    rows = tuple(
        (
            show_age(step.age),
            _per_cent(step.survival, system),
            _per_cent(step.low, system),
            _per_cent(step.high, system),
        )
        for step in lives.steps
    )
    return Survivors(chart_svg(spec(lives, system), label=label), rows, lives.life.basis == "mle")


def spec(lives: TypeLives, system: str) -> Spec:
    ages = [one.age(lives.by) for one in lives.lived if one.age(lives.by) > 0]
    unit, unit_word = _unit(lives.by, system)
    right = max(ages) * 1.05
    values, digits = round_steps(0.0, right / unit, most=5)

    def x(age: float) -> float:
        return round(WIDTH * min(age / right, 1.0), 2)

    def y(share: float) -> float:
        return round(HEIGHT * (1 - share), 2)

    layers = [
        axes((0, right / unit), values, (0, 1), {share: _per_cent(share, system) for share in SHARES}),
        _range(lives, right, x, y),
        _stepped(lives, right / unit, unit),
        *_fitted(lives, right, unit),
        *_ticks(lives, x, y),
        *texts(list(_numbers(values, digits, x, unit, system, unit_word))),
    ]
    return whole(WIDTH, HEIGHT, (LEFT, RIGHT, TOP, BOTTOM), layers)


def _unit(by: AgeUnit, system: str) -> tuple[float, str]:
    """How many hours or kilograms a unit of the axis has, and its word."""
    if by is AgeUnit.HOURS:
        return 1.0, _("hours of work")
    word = units.per_word(system)
    return float(units.KG["short_ton" if units.is_us(system) else "t"]), _("%(ton)s of seed") % {"ton": word}


def _per_cent(share: float, system: str) -> str:
    return f"{units.show_number(100 * share, 0, system)}\N{NO-BREAK SPACE}%"


def _range(lives: TypeLives, right: float, x: _Place, y: _Place) -> Spec:
    """Stepped like the count: each pair of limits holds until the next failure."""
    rows, low, high = [{"x": 0.0, "y": y(1.0), "y2": y(1.0)}], 1.0, 1.0
    for step in lives.steps:
        rows.append({"x": x(step.age), "y": y(low), "y2": y(high)})
        low, high = step.low, step.high
        rows.append({"x": x(step.age), "y": y(low), "y2": y(high)})
    rows.append({"x": x(right), "y": y(low), "y2": y(high)})
    return {
        "name": "range",
        "data": {"values": rows},
        "mark": {"type": "area", "color": RANGE, "opacity": 1},
        "encoding": {"x": UNSCALED_X, "y": UNSCALED_Y, "y2": {"field": "y2"}, "order": AS_WRITTEN},
    }


def _stepped(lives: TypeLives, end: float, unit: float) -> Spec:
    places, share = [(0.0, 1.0)], 1.0
    for step in lives.steps:
        places += [(step.age / unit, share), (step.age / unit, step.survival)]
        share = step.survival
    return {
        **line("firm", [*places, (end, share)]),
        "encoding": {"x": X, "y": Y, "order": AS_WRITTEN},
    }


def _fitted(lives: TypeLives, right: float, unit: float) -> Iterator[Spec]:
    fit = lives.life
    if fit.basis == "mle" and fit.shape is not None and fit.scale is not None:
        ages = np.linspace(0.0, right, CURVE_POINTS + 1)
        shares = np.exp(-((ages / fit.scale) ** fit.shape))
        yield line("broken", list(zip((ages / unit).tolist(), shares.tolist(), strict=True)), broken=True)


def _ticks(lives: TypeLives, x: _Place, y: _Place) -> Iterator[Spec]:
    rows = []
    for one in lives.lived:
        age = one.age(lives.by)
        if one.ended != "failed" and age > 0:
            share = min((step.survival for step in lives.steps if step.age <= age), default=1.0)
            rows.append(rule(x(age), y(share) - 5, x(age), y(share) + 5, width=1.5))
    if rows:
        yield rules("ticks", rows)


def _numbers(
    values: Sequence[float], digits: int, x: _Place, unit: float, system: str, unit_word: str
) -> Iterator[Word]:
    room = Room(-LEFT, WIDTH + RIGHT)
    for value in values:
        word = units.show_number(value, digits, system)
        yield from room.first_free([word], [(x(value * unit), HEIGHT + 17)], group="soft")
    yield from room.first_free([unit_word], [(WIDTH / 2, HEIGHT + 35)], group="soft")
