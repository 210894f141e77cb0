"""A process that dies between two statements of its database."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import connection, connections


class Died(BaseException):
    """Nothing of the code under test catches it, as nothing catches SIGKILL."""


CLAIM = "UPDATE", "reminders_outboxrow", "first_attempt_at"
"""Words of the statement by which a sender takes a message."""


def die_at(statement: int, *, after: bool, claimed: bool, deed: Callable[[], object]) -> bool:
    """Do the deed and die at its so-manieth statement, before or after it is carried out; with `claimed`
    they are counted once a sender has taken a message. True where it came to that; False where the deed had
    come to its end before."""
    left, counting = statement, not claimed

    def count(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        nonlocal left, counting
        if not counting:
            counting = all(word in sql for word in CLAIM)
            return execute(sql, params, many, context)
        left -= 1
        if left == 0 and not after:
            raise Died
        result = execute(sql, params, many, context)
        if left == 0:
            raise Died
        return result

    try:
        with connection.execute_wrapper(count):
            deed()
    except Died:
        connections.close_all()
        return True
    return False
