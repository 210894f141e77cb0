"""What closes a job, held to the isolation record: no work logged and no part moved under another's lock."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import datetime
from typing import TypeVar

from wearlog.equipment.models import Fitting
from wearlog.lockout.isolation.closing import (
    ask_about_own_locks,
    ask_about_pressing,
    refuse_others_locks,
    state_release,
)
from wearlog.people.models import User
from wearlog.runs.models import Run
from wearlog.service.models import CropChange, Service

Moved = TypeVar("Moved", Fitting, tuple[Fitting, Fitting])

CLOSES = frozenset({"press", "position", "part", "edge", "action", "rule", "done_at"})
"""Fields of work whose correction may close another job than before."""


def work_done(
    write: Callable[[], Service],
    *,
    by: User | None,
    at: datetime,
    ref: str,
    confirmed: Collection[str],
    release_stated: bool,
) -> Service:
    """Log work, and keep that the steps before a restart were stated with it. Raises StillLocked under
    another's lock, and asks whether one's own stay on. Work that was sent before is what it was."""
    known = bool(ref) and Service.objects.filter(ref=ref).exists()
    service = write()
    if not known:
        refuse_others_locks(by=by, press_id=service.press_id, done_at=service.done_at)
        ask_about_own_locks(by=by, press_id=service.press_id, done_at=service.done_at, confirmed=confirmed)
    if release_stated:
        state_release(by=by, at=at, service=service)
    return service


def crop_changed(write: Callable[[], CropChange], *, by: User | None, ref: str) -> CropChange:
    """Keep a crop change, which is work too."""
    known = bool(ref) and Service.objects.filter(ref=ref).exists()
    change = write()
    if not known:
        refuse_others_locks(by=by, press_id=change.service.press_id, done_at=change.service.done_at)
    return change


def part_moved(write: Callable[[], Moved], *, by: User | None) -> Moved:
    """Move a part. The move is looked at by its instant, at the press that it touches."""
    moved = write()
    for fitting in moved if isinstance(moved, tuple) else (moved,):
        refuse_moves(by=by, fitting=fitting)
    return moved


def refuse_moves(*, by: User | None, fitting: Fitting) -> None:
    instant = max(filter(None, (fitting.fitted_at, fitting.removed_at)))
    refuse_others_locks(by=by, press_id=fitting.position.press_id, done_at=instant)


def work_corrected(*, by: User | None, service: Service, changed: Iterable[str]) -> None:
    """A correction that makes work close another job is held to the same."""
    if CLOSES & set(changed):
        refuse_others_locks(by=by, press_id=service.press_id, done_at=service.done_at)


def pressed(write: Callable[[], Run], *, ref: str, confirmed: Collection[str]) -> Run:
    """Log a run, or its end. Asks where a lock was recorded as being on in that time."""
    known = bool(ref) and Run.objects.filter(ref=ref).exists()
    run = write()
    if not known:
        ask_about_pressing(press_id=run.press_id, start=run.started_at, end=run.ends_at, confirmed=confirmed)
    return run
