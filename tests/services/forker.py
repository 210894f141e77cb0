"""Run as a program: start senders as fast as a test can kill them.

Reads lines `scan INSTANT`, `send INSTANT` or `both INSTANT`, forks a child that does it with a clock that
begins at INSTANT, prints the child's number and, once it is gone, how it ended.
"""

from __future__ import annotations

import os
import sys
import time
import traceback
from datetime import datetime, timedelta
from importlib import import_module

import django
from django.urls import reverse


def do(what: str, start: datetime) -> None:
    from django.db import connections

    from wearlog.reminders.outbox.actions import scan, send_due

    begun = time.monotonic()

    def clock() -> datetime:
        return start + timedelta(seconds=time.monotonic() - begun)

    if what in ("scan", "both"):
        scan(at=clock())
    if what in ("send", "both"):
        while send_due(at=clock(), limit=10_000, clock=clock).sent:
            pass
    connections.close_all()


def main() -> None:
    django.setup()
    import_module("wearlog.reminders.outbox.actions")
    reverse("web:day")  # imports every page, so that no child has to
    for line in sys.stdin:
        what, instant = line.split()
        child = os.fork()
        if child == 0:
            try:
                do(what, datetime.fromisoformat(instant))
            except BaseException:
                traceback.print_exc()
                os._exit(1)
            os._exit(0)
        print(child, flush=True)
        _pid, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    main()
