"""A due item: what is to be done, when, why and how sure, with its caution."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from wearlog.lockout.cautions.caution import Caution

STATES = ("overdue", "due", "coming", "unknown", "later")
"""In the order in which a person wants to see them."""


@dataclass(frozen=True, kw_only=True)
class WearFigure:
    """What the caliper strip shows of one edge, in mm; None where not known.

    `measured_mm` is the last plain gauge value; `now_mm` the estimate at the end of the as-of day;
    `now_low_mm` and `now_high_mm` its 10 % and 90 % (toward the limit: high)."""

    new_mm: float
    limit_mm: float
    measured_mm: float | None
    measured_on: date | None
    now_mm: float | None
    now_low_mm: float | None
    now_high_mm: float | None


@dataclass(frozen=True, kw_only=True)
class DueItem:
    """One line of the forecast. The first block is the published JSON, in its order."""

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

    # What pages and reminders need beside it.
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
    """Names what counting started at (the last service or the fitting): one reminder per stage and cycle."""
    wear: WearFigure | None = None
