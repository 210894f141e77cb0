"""Several people at the same moment, each in a thread of its own. Needs the fixture `shared`."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connection


def at_once(*calls: Callable[[], Any]) -> list[Any]:
    """Run the calls in threads that start together; each gives its result or what it raised."""
    results: list[Any] = [None] * len(calls)
    gate = threading.Barrier(len(calls))

    def run(number: int, call: Callable[[], Any]) -> None:
        try:
            connection.ensure_connection()
            gate.wait(timeout=30)
            results[number] = call()
        except Exception as error:  # what it raised is the result
            results[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return results


ROUNDS = 5
