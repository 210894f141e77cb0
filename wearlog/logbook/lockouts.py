"""The door for what `lockout` keeps: energy sources in one go, wordings of cautions, isolation records."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from wearlog.lockout import wording_actions
from wearlog.lockout.models import CautionWording, EnergySource
from wearlog.logbook import things
from wearlog.logbook.door import enter
from wearlog.people.models import User


def record_sources(*, by: User | None, at: datetime, sources: Sequence[EnergySource]) -> list[EnergySource]:
    """Record several energy sources: all of them, or none where one is refused."""
    return enter(lambda: [things.save_thing(by=by, at=at, thing=source) for source in sources])


def set_wording(
    *,
    by: User | None,
    at: datetime,
    hazard: str,
    press_id: int | None = None,
    instead: str = "",
    added: str = "",
    word: str = "",
    reason: str,
    seen: int | None = None,
) -> CautionWording:
    """Add a version of the words for a hazard; every caution that is shown from now on has them."""
    return enter(
        lambda: wording_actions.set_wording(
            by=by,
            at=at,
            hazard=hazard,
            press_id=press_id,
            instead=instead,
            added=added,
            word=word,
            reason=reason,
            seen=seen,
        )
    )
