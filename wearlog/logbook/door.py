"""How every write of the log is run: in one transaction, and once more after a lost race."""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting
from wearlog.forecasts import tasks
from wearlog.history import versions
from wearlog.lockout.models import CautionWording, Isolation, Lock, ReleaseStatement
from wearlog.people.refusals import Refused
from wearlog.runs.models import Reading, Run, ShiftNote
from wearlog.service.models import CropChange, Incident, LotHold, Measurement, Photo, Service

Params = ParamSpec("Params")
Result = TypeVar("Result")
WITHOUT_RUNS = (
    Fitting,
    ShiftNote,
    CropChange,
    Incident,
    LotHold,
    Measurement,
    Photo,
    Service,
    CautionWording,
    Isolation,
    Lock,
    ReleaseStatement,
)
"""Records whose writing changes no run and no reading."""


def entered(action: Callable[Params, Result]) -> Callable[Params, Result]:
    """Decorate an action so that it runs by `enter`. Parameters, types and docstring stay those of the
    action."""

    @wraps(action)
    def through_the_door(*args: Params.args, **kwargs: Params.kwargs) -> Result:
        return enter(lambda: action(*args, **kwargs))

    return through_the_door


def enter(write: Callable[[], Result]) -> Result:
    """Run the write and raise the log's version in one transaction, and return what the write returns.

    Entries lock the rows that their checks read. An import doesn't, and two entries may have the same ref:
    then a constraint of the database fails the second, which is run once more, now finds the other's record
    and is refused with a message (or recognised as the same entry).
    """
    try:
        return _once(write)
    except IntegrityError:
        pass
    except OperationalError:
        # PostgreSQL resolves a deadlock by failing one transaction; within an outer transaction, that must
        # be given up as a whole.
        if connection.in_atomic_block:
            raise
    try:
        return _once(write)
    except IntegrityError as error:
        raise Refused(
            _(
                "Something that this entry does not go with was stored at the same moment. Look "
                "at the log, and enter what is still missing."
            )
        ) from error


def _once(write: Callable[[], Result]) -> Result:
    with transaction.atomic():
        result = write()
        versions.touch(runs_of=_runs_of(result))
        transaction.on_commit(tasks.wake, robust=True)
    return result


def _runs_of(result: object) -> Collection[int] | None:
    """The ids of presses whose runs and readings the write may have changed; None: any."""
    if isinstance(result, (Run, Reading)):
        return (result.press_id,)
    if isinstance(result, list) and all(isinstance(one, Run) for one in result):
        return {one.press_id for one in result}
    several = result if isinstance(result, list) else [result]
    return () if all(isinstance(one, WITHOUT_RUNS) for one in several) else None
