"""A small chart of gauge values over the seed that an edge has processed, with lines for new and limit.

It has no SVG viewBox: positions are percentages, so that labels keep the reader's text size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class GaugePoint:
    """One reading: the seed processed before it, its value, and its kind of dot."""

    seed_kg: float
    value_mm: float
    bound: str
    phase: str


@dataclass(frozen=True)
class Dot:
    x: str
    y: str
    shape: str
    """A dot: `plain`, `bound` (a pin gauge, which only says more or less) or `after` (right after work on the
    edge)."""


@dataclass(frozen=True)
class GaugeChart:
    dots: tuple[Dot, ...]
    new_y: str
    limit_y: str
    reach_kg: float


def gauge_chart(points: Sequence[GaugePoint], *, new_mm: float, limit_mm: float) -> GaugeChart | None:
    """The chart, or None with fewer than two readings, which the table shows as well. The limit is always at
    the top."""
    if len(points) < 2 or new_mm == limit_mm:
        return None
    span = limit_mm - new_mm
    shares = [(point.value_mm - new_mm) / span for point in points]
    top, bottom = max(1.0, *shares) + 0.06, min(0.0, *shares) - 0.06
    reach = max(point.seed_kg for point in points) or 1.0

    def y(share: float) -> str:
        return f"{round(100 * (top - share) / (top - bottom), 2):g}%"

    return GaugeChart(
        dots=tuple(
            Dot(
                x=f"{round(97 * point.seed_kg / reach + 1, 2):g}%",
                y=y(share),
                shape="bound" if point.bound else "after" if point.phase == "after" else "plain",
            )
            for point, share in zip(points, shares, strict=True)
        ),
        new_y=y(0.0),
        limit_y=y(1.0),
        reach_kg=reach,
    )
