"""The doubts that nobody has answered yet."""

from __future__ import annotations

from collections import defaultdict

from wearlog.compare.doubts.looking import DAY_S, OpenDoubt, doubts
from wearlog.history.record import Record
from wearlog.runs.models import Cause, SettledDoubt

SAME_S = {Cause.STEP: 7 * DAY_S, Cause.SWAPPED: DAY_S / 2, Cause.GAP: DAY_S / 2}
"""With more runs a step may be found some days off; a doubt this near to an answered one is the same. The
next day is another doubt, also where its first run began earlier."""
SAME_INSTANT_S = 60.0


def open_doubts(record: Record) -> list[OpenDoubt]:
    """The doubts of the last year without an answer, the latest first. One query."""
    settled: dict[tuple[int, str], list[float]] = defaultdict(list)
    for press, cause, at in SettledDoubt.objects.values_list("press_id", "cause", "at"):
        settled[press, cause].append(at.timestamp())

    def answered(doubt: OpenDoubt) -> bool:
        near = SAME_S.get(doubt.cause, SAME_INSTANT_S)
        return any(abs(at - doubt.first) < near for at in settled[doubt.press, doubt.cause])

    return [doubt for doubt in doubts(record) if not answered(doubt)]
