"""Keeps the stored items of every press up to date with the log.

After an entry the stored items of all presses may be stale, but most are not: for a press whose fingerprint
has not changed only the stored version is raised; the others are computed again. Running this twice, late, or
in several workers at once gives the same result.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils import translation

from wearlog.forecasts import lessons
from wearlog.forecasts.memory import snapshots
from wearlog.forecasts.memory.queries import Forecast, forecast_of_day
from wearlog.history import cache, sealing, versions
from wearlog.history.versions import Versions
from wearlog.people.languages import in_use
from wearlog.people.models import Mill

AT_ONCE = 8
"""So many presses' items are stored in one transaction."""


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
    """The presses whose stored items are missing in some language, or were made before something was written
    on which they depend."""
    known, as_of = versions.latest(), today(at)
    presses = known.every_press
    return sorted({press for language in languages() for press in _stale(presses, known, as_of, language)})


def _stale(presses: Iterable[int], known: Versions, as_of: date, language: str) -> set[int]:
    valid = set()
    for press, (_, number) in snapshots.fingerprints(as_of=as_of, language=language).items():
        since = known.items_since(press)
        if since is not None and number >= since:
            valid.add(press)
    return set(presses) - valid


def learn(*, at: datetime) -> None:
    """Learn what gauges teach now, and store it for the other workers."""
    now = forecast_of_day(as_of=today(at))
    now.edges.store_lessons(at=at)
    number = now.ground.log.versions.number
    lessons.note(now.edges.fingerprint.split(" ", 1)[0], as_of=today(at), number=number)


def changed(*, at: datetime) -> list[int]:
    """Mark stale items that turn out to be as they were as valid for the current version. Returns the other
    stale presses, whose items have to be computed again."""
    known, as_of = versions.latest(), today(at)
    left: set[int] = set()
    for language, now in _in_each_language(as_of):
        held = snapshots.fingerprints(as_of=as_of, language=language)
        stale = _stale(now.scopes, known, as_of, language)
        same = {press for press in stale if press in held and held[press][0] == now.fingerprint(press)}
        snapshots.mark_valid(press_ids=same, as_of=as_of, language=language, number=known.number)
        left |= stale - same
    return sorted(left)


def refresh(*, at: datetime, press_ids: Collection[int] | None = None, anew: bool = False) -> Refreshed:
    """Store the current items of these presses (None: of all) where they are stale. `anew` computes
    everything from the log, even where nothing seems to have changed."""
    known, as_of = versions.latest(), today(at)
    done = Refreshed()
    if anew:
        cache.clear_all()
        sealing.forget()
        lessons.forget()
    for language, now in _in_each_language(as_of, None if anew else press_ids):
        held = {} if anew else snapshots.fingerprints(as_of=as_of, language=language)
        stale = set(now.scopes) if anew else _stale(now.scopes, known, as_of, language)
        wanted = [press for press in now.scopes if press_ids is None or press in press_ids]
        done.presses = len(wanted)
        wanted = [press for press in wanted if press in stale]
        now.ground.read_together(wanted)
        for first in range(0, len(wanted), AT_ONCE):
            some = wanted[first : first + AT_ONCE]
            same = [press for press in some if press in held and held[press][0] == now.fingerprint(press)]
            _take_over(now, [press for press in some if press not in same], held)
            made = {press: now.of_press(press) for press in some if press not in same}
            done.worked_out += len(made)
            if same:
                snapshots.mark_valid(press_ids=same, as_of=as_of, language=language, number=known.number)
            with transaction.atomic():  # one commit for several, since each waits for the disk
                for press_id, (name, items) in made.items():
                    snapshots.keep(
                        press_id=press_id,
                        as_of=as_of,
                        language=language,
                        number=known.number,
                        fingerprint=name,
                        items=items,
                        at=at,
                    )
    snapshots.forget_before(as_of)
    if press_ids is None:
        learn(at=at)
        sealing.seal(at=at)
    return done


def _take_over(now: Forecast, press_ids: Iterable[int], held: Mapping[int, tuple[str, int]]) -> None:
    """Let the forecast have what is stored of these presses and still right, though it has a new lesson of
    wear to work out for them. held: the fingerprint of what is stored, by press."""
    wanted = [press for press in press_ids if press in held and now.can_take_over(press, held[press][0])]
    if wanted:
        as_of = now.ground.record.as_of
        stored = snapshots.with_fingerprints(press_ids=wanted, as_of=as_of, language=now.language)
        for press_id, (name, items) in stored.items():
            now.take_over(press_id, name, items)


def _in_each_language(
    as_of: date, press_ids: Collection[int] | None = None
) -> Iterator[tuple[str, Forecast]]:
    for language in languages():
        with translation.override(language):
            yield language, forecast_of_day(as_of=as_of, press_ids=press_ids)
