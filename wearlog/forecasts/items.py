"""A due item: what is to be done, when, why, how certain that is, and the caution for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from wearlog.lockout.cautions.caution import Caution

STATES = ("overdue", "due", "coming", "unknown", "later")
"""In the order in which they are listed: the most urgent first."""


@dataclass(frozen=True, kw_only=True)
class WearFigure:
    """The wear of one edge as the caliper strip shows it, in mm; None where not known.

    `measured_mm` is the last plain gauge value. `now_mm` is the estimate at the end of the as-of day;
    `now_low_mm` and `now_high_mm` are its 10 % and 90 % points (high is closer to the limit)."""

    new_mm: float
    limit_mm: float
    measured_mm: float | None
    measured_on: date | None
    now_mm: float | None
    now_low_mm: float | None
    now_high_mm: float | None


@dataclass(frozen=True, kw_only=True)
class DueItem:
    """One item of the forecast. The first block of fields is the published JSON, in its order."""

    rule: str
    action: str
    press: str
    position: str
    part: str
    edge: str
    state: str
    trigger: str
    due_on: date | None
    early_on: date | None
    late_on: date | None
    left_kg: float | None
    left_h: float | None
    left_days: float | None
    basis: str
    why: str
    caution: Caution

    # Further fields that pages and reminders need.
    rule_id: int
    press_id: int
    position_id: int | None
    part_id: int | None
    fitting_id: int | None
    kind: str
    press_name: str
    instructions: str
    size_mm: float | None
    lead_days: float
    cycle: str
    """Identifies the service or fitting at which counting started; a reminder is sent once per stage and
    cycle."""
    wear: WearFigure | None = None
