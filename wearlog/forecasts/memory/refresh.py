"""Keeps the stored items of every press up to date with the log.

After an entry the stored items of all presses may be stale, but most are not: for a press whose fingerprint
has not changed only the stored version is raised; the others are computed again. Running this twice, late, or
in several workers at once gives the same result.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils import translation

from wearlog.equipment.models import Press
from wearlog.forecasts.memory import snapshots
from wearlog.forecasts.memory.queries import Forecast, forecast_of_day
from wearlog.history import cache, versions
from wearlog.people.languages import in_use
from wearlog.people.models import Mill


@dataclass
class Refreshed:
    """presses: how many presses were checked. worked_out: for how many of them the items were computed again,
    counted once for each language."""

    presses: int = 0
    worked_out: int = 0


def languages() -> Sequence[str]:
    """The languages in which items are stored: those that people at the mill use."""
    return in_use()


def today(at: datetime) -> date:
    """The day, in the mill's zone, of an instant."""
    return at.astimezone(Mill.current().zone).date()


def stale(*, at: datetime) -> list[int]:
    """The presses whose stored items are missing or belong to an earlier version of the log."""
    number, as_of = versions.current(), today(at)
    presses = set(Press.objects.values_list("pk", flat=True))
    for language in languages():
        held = snapshots.fingerprints(as_of=as_of, language=language)
        presses -= {press for press, (_, of) in held.items() if of == number}
    return sorted(presses)


def changed(*, at: datetime) -> list[int]:
    """Mark stored items that are still valid as valid for the current version. Returns the other presses,
    whose items have to be computed again."""
    number, as_of = versions.current(), today(at)
    left: set[int] = set()
    for language, known in _in_each_language(as_of):
        held = snapshots.fingerprints(as_of=as_of, language=language)
        same = {
            press for press in known.scopes if press in held and held[press][0] == known.fingerprint(press)
        }
        snapshots.mark_valid(press_ids=same, as_of=as_of, language=language, number=number)
        left |= set(known.scopes) - same
    return sorted(left)


def refresh(*, at: datetime, press_ids: Collection[int] | None = None, anew: bool = False) -> Refreshed:
    """Store the current items of these presses (None: of all). `anew` computes everything from the log, even
    where nothing seems to have changed."""
    number, as_of = versions.current(), today(at)
    done = Refreshed()
    if anew:
        cache.clear_all()
    for language, known in _in_each_language(as_of):
        held = {} if anew else snapshots.fingerprints(as_of=as_of, language=language)
        wanted = [press for press in known.scopes if press_ids is None or press in press_ids]
        done.presses = len(wanted)
        for press_id in wanted:
            if press_id in held and held[press_id][0] == known.fingerprint(press_id):
                snapshots.mark_valid(press_ids=[press_id], as_of=as_of, language=language, number=number)
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


def _in_each_language(as_of: date) -> Iterator[tuple[str, Forecast]]:
    for language in languages():
        with translation.override(language):
            yield language, forecast_of_day(as_of=as_of)
