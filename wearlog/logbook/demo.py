"""The demo mill: a logbook in the project whose dates are shifted to the day on which it is loaded."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from wearlog.logbook.demo_names import named
from wearlog.logbook.exchange.cells import Day, Instant
from wearlog.logbook.exchange.columns import INSTANT
from wearlog.logbook.exchange.files import Sheet, read_files
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.logbook.exchange.tables import BY_FILE
from wearlog.people.models import User
from wearlog.people.refusals import Refused

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo-mill"
REFERENCE_DAY = date(2026, 3, 4)
"""The day in the logbook's dates that becomes today."""


def load(*, by: User | None, today: date, language: str = "") -> None:
    """Import the demo mill with every date moved so that its reference day falls on `today`, and its names in
    the language, where it has them in it.

    Local times stay the same, whichever side of a clock change they end up on. Raises Refused where the
    folder is missing or other data is already stored."""
    if not FOLDER.is_dir():
        raise Refused(
            _("The demo mill is not at %(folder)s: run fixtures/make_demo_mill.py, or begin without it.")
            % {"folder": FOLDER}
        )
    with tempfile.TemporaryDirectory(prefix="wearlog-demo-") as place:
        folder = Path(place) / FOLDER.name
        folder.mkdir()
        write_moved(FOLDER, folder, today - REFERENCE_DAY, language)
        import_logbook(by=by, at=datetime.combine(today, time(), UTC), source=folder)


def write_moved(source: Path, target: Path, by: timedelta, language: str = "") -> None:
    """Copy a logbook with all days and instants moved by whole days, and its names in the language."""
    zone: tzinfo = UTC
    for sheet, problems in read_files(source):  # mill.csv first
        if sheet is None or problems:
            raise Refused(_("The demo mill can't be read: %(problems)s") % {"problems": problems[0]})
        if sheet.table.name == "mill":
            zone = ZoneInfo(sheet.columns["time_zone"][0])
        columns = {
            name: named(name, moved(sheet, name, cells, by, zone), language)
            for name, cells in sheet.columns.items()
        }
        with (target / sheet.table.file).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\r\n")
            writer.writerow(columns)
            writer.writerows(zip(*columns.values(), strict=True))


def moved(sheet: Sheet, name: str, cells: Sequence[str], by: timedelta, zone: tzinfo) -> Sequence[str]:
    form = BY_FILE[sheet.table.file].by_name[name].form
    if isinstance(form, Day):
        return [(date.fromisoformat(cell) + by).isoformat() if cell else "" for cell in cells]
    if isinstance(form, Instant):
        return [moved_instant(cell, by, zone) if cell else "" for cell in cells]
    return cells


def moved_instant(cell: str, by: timedelta, zone: tzinfo) -> str:
    local = INSTANT.read(cell, zone).astimezone(zone)
    return (local.replace(tzinfo=None) + by).isoformat()  # without an offset: the mill's local time
