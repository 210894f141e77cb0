"""Keep the stored items of every press in step with the log.

An entry makes every stored item doubtful, and most of them hold: a press whose fingerprint is what it was
gets a stamp for the new version, the others are worked out again. Running it twice, late, or by several
workers at once stores the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils import translation

from wearlog.equipment.models import Press
from wearlog.forecasts.memory import snapshots
from wearlog.forecasts.memory.queries import Reckoning, reckoning
from wearlog.history import cache, versions
from wearlog.people.languages import in_use
from wearlog.people.models import Mill


@dataclass
class Refreshed:
    """presses: how many were looked at. worked_out: of how many the items were worked out again, counted
    for each language."""

    presses: int = 0
    worked_out: int = 0


def languages() -> Sequence[str]:
    """In which languages items are stored: those that somebody at the mill reads."""
    return in_use()


def today(at: datetime) -> date:
    """The mill's day of an instant."""
    return at.astimezone(Mill.current().zone).date()


def stale(*, at: datetime) -> list[int]:
    """The presses whose stored items are missing or of another version of the log than the present one."""
    number, as_of = versions.current(), today(at)
    presses = set(Press.objects.values_list("pk", flat=True))
    for language in languages():
        held = snapshots.prints(as_of=as_of, language=language)
        presses -= {press for press, (_, of) in held.items() if of == number}
    return sorted(presses)


def changed(*, at: datetime) -> list[int]:
    """Stamp the stored items that hold for the present version too, and return the presses that are left:
    those whose items have to be worked out again."""
    number, as_of = versions.current(), today(at)
    left: set[int] = set()
    for language, known in _in_each_language(as_of):
        held = snapshots.prints(as_of=as_of, language=language)
        same = {
            press for press in known.scopes if press in held and held[press][0] == known.fingerprint(press)
        }
        snapshots.still_hold(press_ids=same, as_of=as_of, language=language, number=number)
        left |= set(known.scopes) - same
    return sorted(left)


def refresh(*, at: datetime, press_ids: Collection[int] | None = None, anew: bool = False) -> Refreshed:
    """Store the present items of these presses (None: of all). `anew` works everything out from the log
    even where nothing seems to have changed."""
    number, as_of = versions.current(), today(at)
    done = Refreshed()
    if anew:
        cache.forget()
    for language, known in _in_each_language(as_of):
        held = {} if anew else snapshots.prints(as_of=as_of, language=language)
        wanted = [press for press in known.scopes if press_ids is None or press in press_ids]
        done.presses = len(wanted)
        for press_id in wanted:
            if press_id in held and held[press_id][0] == known.fingerprint(press_id):
                snapshots.still_hold(press_ids=[press_id], as_of=as_of, language=language, number=number)
                continue
            name, items = known.of_press(press_id)
            done.worked_out += 1
            with transaction.atomic():
                snapshots.keep(
                    press_id=press_id,
                    as_of=as_of,
                    language=language,
                    number=number,
                    fingerprint=name,
                    items=items,
                    at=at,
                )
    snapshots.forget_before(as_of)
    return done


def _in_each_language(as_of: date) -> Iterator[tuple[str, Reckoning]]:
    for language in languages():
        with translation.override(language):
            yield language, reckoning(as_of=as_of)
