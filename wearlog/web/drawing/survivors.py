"""The survival chart of parts: the share still working as a step function, and the fitted curve.

Positions are in units of the SVG viewBox, as for the bars of comparisons, so that it needs no inline style.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.compare.reliability import TypeLives

WIDTH, HEIGHT = 300, 170
LEFT, RIGHT, TOP, BASE = 44, 10, 10, 140
CURVE_POINTS = 40


@dataclass(frozen=True)
class Survivors:
    """`steps`, `band` and `curve` are path data; `band` and `curve` are empty where there is none."""

    width: int
    height: int
    left: int
    right: int
    top: int
    middle: int
    base: int
    reach: float
    """The age at the right end of the axis."""
    steps: str
    band: str
    curve: str
    marks: tuple[tuple[float, float], ...]
    """Where the observation of a part without a failure ended (censored: still in use, or taken off)."""


def survivors(lives: TypeLives) -> Survivors | None:
    """The chart, or None without a failure, when there is no step to draw."""
    if not lives.steps:
        return None
    ages = [one.age(lives.by) for one in lives.lived if one.age(lives.by) > 0]
    reach = max(ages) * 1.05
    end = WIDTH - RIGHT

    def x(age: float) -> float:
        return round(LEFT + (end - LEFT) * min(age / reach, 1.0), 1)

    def y(share: float) -> float:
        return round(BASE - (BASE - TOP) * share, 1)

    ons = [x(step.age) for step in lives.steps] + [end]
    steps = f"M{LEFT} {y(1)}"
    lows, highs = f"M{LEFT} {y(1)}", f"L{LEFT} {y(1)}"
    back = []
    for place, step in enumerate(lives.steps):
        steps += f"H{ons[place]}V{y(step.survival)}"
        lows += f"H{ons[place]}V{y(step.low)}"
        back.append((ons[place], y(step.high)))
    steps += f"H{end}"
    lows += f"H{end}"
    upper = f"V{back[-1][1]}"
    for place in range(len(back) - 1, -1, -1):
        before = back[place - 1][1] if place else y(1)
        upper += f"H{back[place][0]}V{before}"
    band = f"{lows}{upper}{highs}Z"
    marks = []
    for one in lives.lived:
        if one.ended != "failed" and one.age(lives.by) > 0:
            share = min((step.survival for step in lives.steps if step.age <= one.age(lives.by)), default=1.0)
            marks.append((x(one.age(lives.by)), y(share)))
    curve = ""
    fit = lives.life
    if fit.basis == "mle" and fit.shape is not None and fit.scale is not None:
        at = np.linspace(0.0, reach, CURVE_POINTS + 1)
        shares = np.exp(-((at / fit.scale) ** fit.shape))
        places = zip(at.tolist(), shares.tolist(), strict=True)
        curve = "M" + "L".join(f"{x(age)} {y(share)}" for age, share in places)
    return Survivors(
        WIDTH, HEIGHT, LEFT, end, TOP, round((TOP + BASE) / 2), BASE, reach, steps, band, curve, tuple(marks)
    )
