"""Checks actions that close a job against the isolation record: no work is logged and no part moved while
another person's lock is on.

The decorators return the action with the same parameters and read from its keyword arguments who acts (`by`),
which questions were confirmed (`confirmed`) and the entry (`entry`, whose `ref` tells whether it was stored
before; then it is not checked again).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import ParamSpec, TypeVar

from wearlog.equipment.models import Fitting
from wearlog.lockout.isolation.closing import (
    ask_about_own_locks,
    ask_about_pressing,
    refuse_others_locks,
    state_release,
)
from wearlog.people.models import User
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Run
from wearlog.service import actions as service
from wearlog.service import incidents
from wearlog.service.entries import NewCropChange, NewWork
from wearlog.service.models import CropChange, Service

Params = ParamSpec("Params")
Moved = TypeVar("Moved", Fitting, tuple[Fitting, Fitting])

CLOSES = frozenset({"press", "position", "part", "edge", "action", "rule", "done_at"})
"""Fields of a service whose correction may make it close a different job."""


def log_work(
    *,
    by: User | None,
    at: datetime,
    entry: NewWork,
    confirmed: Collection[str] = (),
    release_stated: bool = False,
) -> Service:
    """Log work with its gauges; flip and replace also move the part. `release_stated` records that the person
    stated the steps before a restart. Raises StillLocked while somebody else's lock is recorded as being on
    at the press, and Doubtful while the person's own are."""
    known = bool(entry.ref) and Service.objects.filter(ref=entry.ref).exists()
    work = service.log_work(by=by, at=at, entry=entry, confirmed=confirmed)
    if not known:
        refuse_others_locks(by=by, press_id=work.press_id, done_at=work.done_at)
        ask_about_own_locks(by=by, press_id=work.press_id, done_at=work.done_at, confirmed=confirmed)
    if release_stated:
        state_release(by=by, at=at, service=work)
    return work


def record_crop_change(
    *, by: User | None, at: datetime, entry: NewCropChange, confirmed: Collection[str] = ()
) -> CropChange:
    """Store the signed cleaning record between two crops, the cleaning itself as a service, and the other
    work of the same stop, in one transaction.

    Without `from_crop_id` the previous crop is the one that the press pressed last. Raises StillLocked as
    `log_work` does, and Doubtful where other work belongs to it and the person's own lock is still on.
    """
    known = bool(entry.ref) and Service.objects.filter(ref=entry.ref).exists()
    change = incidents.record_crop_change(by=by, at=at, entry=entry, confirmed=confirmed)
    if not known:
        press_id, done_at = change.service.press_id, change.service.done_at
        refuse_others_locks(by=by, press_id=press_id, done_at=done_at)
        if entry.works:
            ask_about_own_locks(by=by, press_id=press_id, done_at=done_at, confirmed=confirmed)
    return change


def checks_moves(move: Callable[Params, Moved]) -> Callable[Params, Moved]:
    """Decorate an action that moves a part: check the move's instant at each press that it affects."""

    @wraps(move)
    def move_and_check(*args: Params.args, **kwargs: Params.kwargs) -> Moved:
        moved = move(*args, **kwargs)
        for fitting in moved if isinstance(moved, tuple) else (moved,):
            refuse_moves(by=_arguments(kwargs).by, fitting=fitting)
        return moved

    return move_and_check


def refuse_moves(*, by: User | None, fitting: Fitting) -> None:
    instant = max(filter(None, (fitting.fitted_at, fitting.removed_at)))
    refuse_others_locks(by=by, press_id=fitting.position.press_id, done_at=instant)


def check_correction(*, by: User | None, service: Service, changed: Iterable[str]) -> None:
    """Check a correction that makes a service close a different job in the same way."""
    if CLOSES & set(changed):
        refuse_others_locks(by=by, press_id=service.press_id, done_at=service.done_at)


def checks_pressing(log: Callable[Params, Run]) -> Callable[Params, Run]:
    """Decorate an action that logs a run or its end: raises Doubtful where a lock was recorded as being on in
    that time."""

    @wraps(log)
    def log_and_check(*args: Params.args, **kwargs: Params.kwargs) -> Run:
        given = _arguments(kwargs)
        known = bool(given.ref) and Run.objects.filter(ref=given.ref).exists()
        run = log(*args, **kwargs)
        if not known:
            ask_about_pressing(
                press_id=run.press_id, start=run.started_at, end=run.ends_at, confirmed=given.confirmed
            )
        return run

    return log_and_check


@dataclass(frozen=True)
class _Arguments:
    by: User | None
    ref: str
    confirmed: Collection[str]


def _arguments(kwargs: Mapping[str, object]) -> _Arguments:
    """The arguments of an action that the checks need; `by` is always given."""
    by, entry, confirmed = kwargs["by"], kwargs.get("entry"), kwargs.get("confirmed", ())
    assert by is None or isinstance(by, User)
    assert isinstance(confirmed, Collection)
    return _Arguments(by=by, ref=entry.ref if isinstance(entry, NewRun) else "", confirmed=confirmed)
