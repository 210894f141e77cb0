"""How every write of the log is run: in one transaction, and once more after a lost race."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils.translation import gettext as _

from wearlog.forecasts import tasks
from wearlog.history import versions
from wearlog.history.concerned import change_of
from wearlog.people import audit
from wearlog.people.refusals import Refused

Params = ParamSpec("Params")
Result = TypeVar("Result")


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
        with audit.watched() as rows:
            result = write()
        versions.touch(change_of(rows))
        transaction.on_commit(tasks.wake, robust=True)
    return result
