"""Entered actions for the tables of `lockout`: energy sources, wordings of cautions, the isolation record."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from wearlog.lockout.cautions import actions as wordings
from wearlog.lockout.isolation import actions as isolations
from wearlog.lockout.isolation import corrections
from wearlog.lockout.models import EnergySource
from wearlog.lockout.yearly import looks
from wearlog.logbook import things
from wearlog.logbook.door import entered
from wearlog.people.models import User


@entered
def record_sources(*, by: User | None, at: datetime, sources: Sequence[EnergySource]) -> list[EnergySource]:
    """Record several energy sources: all of them, or none if one is refused."""
    return [things.save_thing(by=by, at=at, thing=source) for source in sources]


set_wording = entered(wordings.set_wording)

fit_locks = entered(isolations.fit_locks)
state_verified = entered(isolations.state_verified)
confirm_lock = entered(isolations.confirm)
take_off = entered(isolations.take_off)
hand_over = entered(isolations.hand_over)
take_off_for_another = entered(isolations.take_off_for_another)
record_told = entered(isolations.record_told)
end_isolation = entered(isolations.end)
correct_lock = entered(corrections.correct_lock)
strike_out_lock = entered(corrections.strike_out_lock)

make_yearly_rules = entered(looks.make_rules)
record_yearly_look = entered(looks.record_look)
