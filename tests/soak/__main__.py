"""`python -m tests.soak --press-days 10000 --seed 1`: a simulated mill where everything breaks that can.

On SQLite in a folder of its own, or with `--postgresql` on a server of its own, or in the database that is
named after it. `--begin DAY` is where its time begins. Ends with 0 and the figures,
or with 1, the seed and the story of what went wrong. `--break NAME ...` breaks the engine on purpose, in the
ways of tests/soak/breaks.py, and ends with 0 where every one of them was told.
"""

from __future__ import annotations

import argparse
import logging
import os
import random
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from contextlib import nullcontext
from datetime import UTC, date, datetime
from pathlib import Path

OWN_SERVER = "own"
PRESSES = 20
MANY_PRESSES = 40
"""In a long run, which then takes 250 days for its 10,000."""

BEGIN = date(2026, 3, 1)
"""Four weeks before the clocks change in Europe, a week before they do in America."""


def main() -> int:
    arguments = argparse.ArgumentParser(prog="python -m tests.soak")
    arguments.add_argument("--press-days", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--begin", type=date.fromisoformat, default=BEGIN)
    arguments.add_argument("--postgresql", nargs="?", const=OWN_SERVER, metavar="URL")
    arguments.add_argument("--break", dest="breaks", nargs="+", default=[])
    asked = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="wearlog-soak-") as folder:
        os.environ |= {
            "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
            "DATA_DIR": folder,
            "EMAIL_URL": "smtp://127.0.0.1:1",
            "REDIS_URL": "",
        }
        if not asked.postgresql:
            os.environ["DATABASE_URL"] = f"sqlite:///{Path(folder) / 'wearlog.sqlite3'}"
            prepare()
            return see_breaks(asked, Path(folder)) if asked.breaks else soak(asked)
        from tests.soak.faults import database

        named = asked.postgresql != OWN_SERVER
        with nullcontext(asked.postgresql) if named else database("soak") as url:
            os.environ["DATABASE_URL"] = url
            prepare()
            return soak(asked)


def prepare() -> None:
    """Django, and an empty database."""
    import django

    django.setup()
    logging.disable()  # refusals and deaths are what is tried here
    from django.conf import settings
    from django.db import connection, connections

    from tests.migrated import migrate

    settings.EMAIL_TIMEOUT = 0.3
    if connection.vendor == "sqlite":  # no power is cut here, so that no disk need be waited for
        connection.settings_dict["OPTIONS"]["init_command"] = (
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF;"
        )
    migrate()
    connections.close_all()


def soak(asked: argparse.Namespace, how: str = "") -> int:
    """0 where all went well. With the engine broken it ends at the first thing that is wrong."""
    from django.conf import settings
    from django.db import connections

    from tests.soak.breaks import broken_engine
    from tests.soak.post import post
    from tests.soak.simulation import Simulation

    begun, presses = time.monotonic(), PRESSES if asked.press_days < 5000 else MANY_PRESSES
    days = max(1, asked.press_days // presses)
    begin = datetime(asked.begin.year, asked.begin.month, asked.begin.day, tzinfo=UTC)
    with post(random.Random(asked.seed + 1)) as server, broken_engine(how):
        settings.EMAIL_PORT = server.port
        simulation = Simulation(seed=asked.seed, presses=presses, days=days, begin=begin, post=server)
        simulation.run(to_first_wrong=bool(how))
    connections.close_all()
    verdict, drawn = (
        simulation.verdict,
        Counter({f"answers '{name}'": n for name, n in server.counts.items()}),
    )
    print(f"seed {asked.seed}: {days * presses} press-days in {time.monotonic() - begun:.0f} s")
    print(
        f"{len(verdict.told)} messages told by {len(verdict.ids)} mails, "
        f"{verdict.missed} missed, {verdict.in_time:.2%} within 5 minutes"
    )
    print(f"{verdict.copies} copies of {verdict.crashes} crashes and {verdict.lost_answers} lost answers")
    print(", ".join(f"{number} {what}" for what, number in sorted((simulation.counts + drawn).items())))
    for wrong in verdict.wrong[:3]:
        print(f"\n{wrong}")
    if verdict.wrong:
        again = f"--press-days {asked.press_days} --seed {asked.seed} --begin {asked.begin}"
        again += " --postgresql" * (asked.postgresql is not None)
        print(f"\n{len(verdict.wrong)} wrong. Again with: python -m tests.soak {again}")
    sys.stdout.flush()
    return 1 if verdict.wrong else 0


def see_breaks(asked: argparse.Namespace, folder: Path) -> int:
    """Each break in a process and on a copy of its own."""
    empty = folder / "wearlog.sqlite3"
    unseen = []
    for how in asked.breaks:
        print(f"\n== {how}", flush=True)
        child = os.fork()
        if child == 0:
            from django.db import connection

            code = 2  # neither well nor found out
            try:
                copy = folder / f"{how}.sqlite3"
                shutil.copy(empty, copy)
                connection.settings_dict["NAME"] = copy
                code = soak(asked, how)
            except Exception:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                os._exit(code)
        _pid, status = os.waitpid(child, 0)
        if os.waitstatus_to_exitcode(status) != 1:
            unseen.append(how)
    print(f"\nnot told: {', '.join(unseen)}" if unseen else "\nevery break was told")
    return 1 if unseen else 0


if __name__ == "__main__":
    sys.exit(main())
