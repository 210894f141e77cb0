"""A process that dies between two statements of its database."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import connection, connections


class Died(BaseException):
    """Nothing of the code under test catches it, as nothing catches SIGKILL."""


def die_at(statement: int, *, after: bool, deed: Callable[[], object]) -> bool:
    """Do the deed and die at its so-manieth statement, before or after it is carried out. True where it
    came to that; False where the deed had come to its end before."""
    left = statement

    def count(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        nonlocal left
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
