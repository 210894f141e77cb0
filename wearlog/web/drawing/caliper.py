"""Geometry of the caliper strip: wear on a scale from new to limit, drawn without an SVG viewBox.

Positions are percentages of the strip's width and heights are in `em`, so that the words in it keep the
reader's own text size at any width. The scale takes 88 % of the width; what lies past the limit has the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

from wearlog.forecasts.items import WearFigure

SCALE_PCT = 88.0
MOST = 1.1
"""The farthest position past the limit, in lengths of the scale; marks beyond it are drawn there."""


@dataclass(frozen=True)
class Spot:
    """A mark on the scale: `x` such as `41.2%`, and the alignment of its label that keeps it on the page."""

    x: str
    anchor: str

    @property
    def aside(self) -> int:
        """The distance in pixels between the label below the line and the mark's dot."""
        return {"start": 9, "end": -9}.get(self.anchor, 0)


@dataclass(frozen=True)
class Caliper:
    wear: WearFigure
    end: str
    ticks: tuple[str, ...]
    gauged: Spot | None
    jaw: Spot | None
    stretch_x: str
    stretch_width: str
    past_limit: bool
    share: int | None
    """The strip. The wear is in whole per cent of the way from new to limit; None without an estimate."""


def percent(fraction: float) -> str:
    return f"{round(fraction * SCALE_PCT, 2):g}%"


def fraction_of(wear: WearFigure, value: float) -> float:
    """The position of a value: 0 at new, 1 at the limit, for growing and for shrinking sizes; clamped to
    -0.02 to 1.1."""
    span = wear.limit_mm - wear.new_mm
    if span == 0:
        return 0.0
    return max(-0.02, min(MOST, (value - wear.new_mm) / span))


def spot(wear: WearFigure, value: float | None) -> Spot | None:
    if value is None:
        return None
    fraction = fraction_of(wear, value)
    return Spot(percent(fraction), "start" if fraction < 0.3 else "end" if fraction > 0.7 else "middle")


def caliper(wear: WearFigure) -> Caliper:
    """The caliper strip for the template to draw."""
    low = wear.now_low_mm if wear.now_low_mm is not None else wear.now_mm
    high = wear.now_high_mm if wear.now_high_mm is not None else wear.now_mm
    stretch_x = stretch_width = ""
    if low is not None and high is not None:
        ends = sorted((fraction_of(wear, low), fraction_of(wear, high)))
        stretch_x, stretch_width = percent(ends[0]), percent(max(ends[1] - ends[0], 0.005))
    now = None if wear.now_mm is None else fraction_of(wear, wear.now_mm)
    return Caliper(
        wear=wear,
        end=percent(1.0),
        ticks=tuple(percent(step / 10) for step in range(1, 10)),
        gauged=spot(wear, wear.measured_mm),
        jaw=spot(wear, wear.now_mm),
        stretch_x=stretch_x,
        stretch_width=stretch_width,
        past_limit=now is not None and now >= 1.0,
        share=None if now is None else round(max(0.0, now) * 100),
    )
