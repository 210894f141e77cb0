"""The entry point of `manage.py`: it handles `--data` before the settings load, and prints one clear sentence
where they can't be loaded."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

from django.core.exceptions import ImproperlyConfigured

from wearlog.config import sqlite
from wearlog.config.stack import with_room
from wearlog.logbook.backups import holding
from wearlog.logbook.backups.refusals import InUse

CANNOT_START = 2


def run(argv: Sequence[str]) -> None:
    """Run one command; a wrong setting ends it with one sentence and exit code 2."""
    take_data_folder(argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
    if not os.environ.get("DATABASE_URL", "").startswith("postgres") and (refusal := sqlite.too_old()):
        stop(refusal)
    try:
        settings = importlib.import_module("wearlog.config.settings")  # loaded now: errors show at once
        if "restore" not in argv[1:2]:  # `restore` needs exclusive use of the folder
            holding.hold_shared(settings.DATA_DIR)
        from django.core.management import execute_from_command_line

        with_room(execute_from_command_line, list(argv))
    except (ImproperlyConfigured, InUse) as error:
        stop(str(error))


def take_data_folder(argv: Sequence[str]) -> None:
    """Turn `--data DIR` (or `--data=DIR`) into the variable that the settings read."""
    for position, word in enumerate(argv):
        if word == "--data" and position + 1 < len(argv):
            os.environ["DATA_DIR"] = argv[position + 1]
        elif word.startswith("--data="):
            os.environ["DATA_DIR"] = word.partition("=")[2]


def stop(sentence: str) -> None:
    sys.stderr.write(f"Wearlog can't start. {sentence}\n")
    raise SystemExit(CANNOT_START)
