"""Logging many runs at once, as on a sheet of paper: all are stored, or none."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from django.db import transaction

from wearlog.logbook import closing
from wearlog.logbook.door import enter
from wearlog.people.models import User
from wearlog.people.refusals import AlreadyMoved, Doubt, Doubtful, NotAllowed, Refused
from wearlog.runs import actions as runs
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Run

_log_run = closing.checks_pressing(runs.log_run)


class SheetNotTaken(Exception):
    """Some lines can't be accepted as they are; nothing was stored. Both mappings are keyed by the line's
    ref.

    A line that follows a bad one at the same press is checked only once the bad one is corrected."""

    def __init__(self, refused: Mapping[str, Refused], doubts: Mapping[str, Sequence[Doubt]]) -> None:
        super().__init__("; ".join(str(one) for one in refused.values()))
        self.refused = dict(refused)
        self.doubts = dict(doubts)


def log_sheet(
    *,
    by: User | None,
    at: datetime,
    entries: Sequence[NewRun],
    confirmed: Mapping[str, Collection[str]] | None = None,
) -> list[Run]:
    """Log the lines of a sheet in the given order, each with its own ref, in one transaction.

    `confirmed` maps a ref to the codes of its confirmed questions. Raises SheetNotTaken."""
    answered = confirmed or {}

    def write() -> list[Run]:
        taken: list[Run] = []
        refused: dict[str, Refused] = {}
        doubts: dict[str, Sequence[Doubt]] = {}
        waiting: set[int] = set()
        for entry in entries:
            if entry.press_id in waiting:
                continue
            try:
                with transaction.atomic():
                    taken.append(_log_run(by=by, at=at, entry=entry, confirmed=answered.get(entry.ref, ())))
            except Doubtful as doubtful:
                doubts[entry.ref] = doubtful.doubts
                waiting.add(entry.press_id)
            except (NotAllowed, AlreadyMoved):
                raise
            except Refused as refusal:
                refused[entry.ref] = refusal
                waiting.add(entry.press_id)
        if refused or doubts:
            raise SheetNotTaken(refused, doubts)
        return taken

    return enter(write)
