"""The chart of the track record: each predicted range of days as a bar, relative to the actual day.

It has no SVG viewBox: positions are percentages of the width and `em` of the height, so that labels keep the
reader's text size. Names take the left fifth; the actual day is the line in the middle of the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wearlog.calc.conformal import DayRange

NAMES_PCT = 24.0
REACH_DAYS = (30, 60, 90, 120, 180, 365)
ROW_EM = 1.7


@dataclass(frozen=True)
class Bar:
    """The bar of one edge. A bar that exceeds the chart is drawn to its border, and `cut` is set."""

    name: str
    x: str
    width: str
    mid: str
    top: str
    middle: str
    base: str
    held: bool
    cut: bool


@dataclass(frozen=True)
class Picture:
    bars: tuple[Bar, ...]
    came: str
    left: str
    reach_days: int
    height: str


def picture(rows: Sequence[tuple[str, DayRange, float]]) -> Picture | None:
    """The chart of rows (name, range, actual day), from top to bottom; None without a row."""
    if not rows:
        return None
    ends = sorted(max(abs(given.early - came), abs(given.late - came)) for _, given, came in rows)
    usual = ends[int(0.8 * (len(ends) - 1))]
    reach = next((days for days in REACH_DAYS if days >= usual), REACH_DAYS[-1])

    def share(days: float) -> float:
        held = max(-reach, min(reach, days))
        return NAMES_PCT + (100 - NAMES_PCT) * (0.5 + 0.5 * held / reach)

    bars = []
    for number, (name, given, came) in enumerate(rows):
        start, end = share(given.early - came), share(given.late - came)
        top = 1.6 + number * ROW_EM
        bars.append(
            Bar(
                name=name,
                x=_pct(start),
                width=_pct(max(end - start, 0.6)),
                mid=_pct(share(given.mid - came)),
                top=f"{top + 0.35:.2f}em",
                middle=f"{top + 0.75:.2f}em",
                base=f"{top + 1.1:.2f}em",
                held=given.holds(came),
                cut=given.early - came < -reach or given.late - came > reach,
            )
        )
    return Picture(
        bars=tuple(bars),
        came=_pct(share(0)),
        left=_pct(NAMES_PCT),
        reach_days=reach,
        height=f"{1.6 + len(rows) * ROW_EM + 1.6:.1f}em",
    )


def _pct(value: float) -> str:
    return f"{round(value, 2):g}%"
