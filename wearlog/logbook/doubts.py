"""Accepting what is proposed for a doubt: the correction and the answer are stored together, or neither."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from wearlog.logbook import corrections
from wearlog.logbook.door import enter
from wearlog.people.models import User
from wearlog.people.roles import Permission, require
from wearlog.runs import corrections as runs
from wearlog.runs import doubts
from wearlog.runs.models import Cause, Run


def accept_weight(
    *, by: User | None, at: datetime, run: Run, seed_kg: Decimal, seen_kg: Decimal, reason: str
) -> None:
    """Correct the weight of a run whose pace is odd. seen_kg: the weight that the person saw; if it has
    changed since, nothing is done. Raises Refused, Doubtful and NotAllowed."""
    require(by, Permission.MAINTAIN)

    def write() -> None:
        corrections.correct(
            by=by, at=at, record=run, changes={"seed_kg": seed_kg}, reason=reason, seen={"seed_kg": seen_kg}
        )
        doubts.settle_doubt(
            by=by, at=at, press_id=run.press_id, cause=Cause.PACE, begins=run.started_at, accepted=True
        )

    enter(write)


def accept_exchange(
    *, by: User | None, at: datetime, run_ids: Sequence[int], begins: datetime, press_id: int, reason: str
) -> None:
    """Give the runs of two presses that were mixed up to the other one. Raises Refused and NotAllowed."""
    require(by, Permission.MAINTAIN)

    def write() -> None:
        runs.exchange_presses(by=by, at=at, run_ids=run_ids, reason=reason)
        doubts.settle_doubt(
            by=by, at=at, press_id=press_id, cause=Cause.SWAPPED, begins=begins, accepted=True
        )

    enter(write)
