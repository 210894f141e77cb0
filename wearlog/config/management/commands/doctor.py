"""Look over this installation, line by line, and say what to do."""

from __future__ import annotations

import json
from argparse import ArgumentParser

from django.core.management.base import BaseCommand
from django.utils import timezone

from wearlog.config.doctor import machine as doctor_machine
from wearlog.config.doctor import site as doctor_site
from wearlog.config.doctor.report import Check, Line, State, examine, worst
from wearlog.config.hidden import without_secrets

OUTSIDE: tuple[tuple[str, Check], ...] = (
    ("settings", doctor_site.site_settings),
    ("proxies", doctor_site.proxies),
    ("secret key", doctor_site.secret_key),
    ("data folder", doctor_machine.data_folder),
    ("backups", doctor_machine.backups),
    ("queue", doctor_site.queue),
    ("mail", doctor_site.mail),
)
IN_THE_DATABASE: tuple[tuple[str, Check], ...] = (
    ("SQLite", doctor_machine.sqlite_library),
    ("database", doctor_site.database),
    ("photos", doctor_machine.photos),
    ("the mill", doctor_site.the_mill),
    ("clock", doctor_machine.clocks),
    ("schedule", doctor_site.schedule),
    ("messages", doctor_site.messages),
)
NOT_ABOUT = (
    "This is about the program alone. It knows nothing of the press: look, measure, and lock out before you "
    "open anything."
)


class Command(BaseCommand):
    help = "Look over settings, mail, schedule, clock, database and disk; exit code 1 where something is bad."
    requires_system_checks: list[str] = []  # their findings become lines of the report

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--data", metavar="DIR", help="folder for the database and the key")
        parser.add_argument("--format", choices=("text", "json"), default="text")
        parser.add_argument("--send-to", metavar="ADDRESS", help="also send a test mail there")

    def handle(self, *args: object, format: str, send_to: str | None, **options: object) -> None:
        at = timezone.now()
        lines = list(examine(OUTSIDE, at=at))
        if no_file := doctor_site.no_file_yet():
            lines.append(Line("database", no_file))
        else:
            lines += examine(IN_THE_DATABASE, at=at)
        if send_to:
            lines.append(Line("test mail", doctor_site.send_to(send_to)))
        if format == "json":
            self.stdout.write(json.dumps(as_data(lines), indent=2))
        else:
            for line in lines:
                self.stdout.write(as_text(line))
            self.stdout.write(f"\n{NOT_ABOUT}")
        if worst(lines) is State.BAD:
            raise SystemExit(1)


def as_data(lines: list[Line]) -> dict[str, object]:
    return {
        "state": worst(lines).value,
        "checks": [
            {
                "check": line.name,
                "state": line.finding.state.value,
                "words": without_secrets(line.finding.words),
                "do": without_secrets(line.finding.do),
            }
            for line in lines
        ],
        "note": NOT_ABOUT,
    }


def as_text(line: Line) -> str:
    """`bad   mail         what was found.` and, indented below it, what to do."""
    told = f"{line.finding.state.value:<5} {line.name:<12} {line.finding.words.rstrip('.')}."
    return without_secrets(f"{told}\n{'':<18} {line.finding.do}" if line.finding.do else told)
