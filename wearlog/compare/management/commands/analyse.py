"""`manage.py analyse KIND FILE.csv`: the project's calculations on any CSV file. Opens no database."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NoReturn

from django.core.management.base import BaseCommand, CommandError, CommandParser

from wearlog.calc.recurrence import Termination
from wearlog.compare import analysis, hours_of_files
from wearlog.compare.analysis import BadInput, Found, Row

COLUMNS = {
    "life": ("age", "failed"),
    "recurrence": ("unit", "age", "event"),
    "wear": ("unit", "exposure", "value"),
    "drift": ("value",),
    "replacement": (),
    "hours": hours_of_files.RUNS,
}
NUMBERS = {
    "new": "wear: the dimension of a new part (without it the line has an intercept)",
    "limit": "wear: the dimension at which the part is worn",
    "gauge-sd": "wear: the standard deviation of one reading, where it is known",
    "target": "drift: the value to hold",
    "sd": "drift: the standard deviation of one value",
    "weight": "drift: the weight of a new value in the average (0.2)",
    "width": "drift: the width of the limits in standard deviations (3)",
    "shape": "replacement: the Weibull shape",
    "scale": "replacement: the Weibull scale",
    "planned-cost": "replacement: the cost of planned work",
    "failure-cost": "replacement: the cost of a failure",
    "shape-low": "replacement: the lower limit of the shape's range, where it is known",
}


class OneLineParser(CommandParser):
    """Reports an error in one line and exits with status 2."""

    def error(self, message: str) -> NoReturn:
        if not self.called_from_command_line:
            raise CommandError(f"Error: {message}", returncode=2)
        sys.stderr.write(f"{message[:1].upper()}{message[1:]}.\n")
        raise SystemExit(2)


class Command(BaseCommand):
    help = (
        "Run the project's calculations on a CSV file: life, recurrence, wear, drift, replacement; and say "
        "how long runs pressed, from runs.csv and readings.csv as export_logbook writes them."
    )
    requires_system_checks: list[str] = []

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: object) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.__class__ = OneLineParser
        return parser

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=sorted(COLUMNS), metavar="{" + ",".join(COLUMNS) + "}")
        parser.add_argument("file", nargs="?", help="a CSV file in UTF-8, or - for standard input")
        parser.add_argument("--format", choices=("table", "json"), default="table", dest="output")
        parser.add_argument("--terminated", choices=("time", "failure"), default="time")
        parser.add_argument("--readings", metavar="FILE", help="hours: the readings.csv beside the runs")
        parser.add_argument("--press", help="hours: this press alone")
        parser.add_argument(
            "--by-meter", action="store_true", help="hours: the press counts its hours by the meter"
        )
        for name, words in NUMBERS.items():
            parser.add_argument(f"--{name}", default=None, metavar="N", help=words)

    def handle(
        self,
        *args: object,
        kind: str,
        file: str | None,
        output: str,
        terminated: Termination,
        readings: str | None,
        press: str | None,
        by_meter: bool,
        **options: object,
    ) -> None:
        try:
            if kind == "hours":
                found = self._hours(file, readings, press=press, by_meter=by_meter)
            else:
                found = self._analyse(kind, file, options, terminated=terminated)
        except BadInput as error:
            raise CommandError(str(error), returncode=2) from error
        if output == "json":
            self.stdout.write(json.dumps(found, ensure_ascii=False, allow_nan=False, indent=1))
        else:
            self.stdout.write(as_text(found))

    def _analyse(
        self, kind: str, file: str | None, numbers: Mapping[str, object], *, terminated: Termination
    ) -> Found:
        def given(name: str, *, default: float | None = None) -> float:
            text = numbers[name.replace("-", "_")]
            if text is not None:
                return analysis.number(str(text), f"--{name}")
            if default is None:
                raise BadInput(f"analyse {kind} needs --{name} ({NUMBERS[name].partition(': ')[2]}).")
            return default

        def perhaps(name: str) -> float | None:
            return None if numbers[name.replace("-", "_")] is None else given(name)

        if kind == "replacement":
            if file:
                raise BadInput("analyse replacement takes no file, only its four options.")
            return analysis.replacement(
                shape=given("shape"),
                scale=given("scale"),
                planned_cost=given("planned-cost"),
                failure_cost=given("failure-cost"),
                shape_low=perhaps("shape-low"),
            )
        if kind == "drift":
            chart = {
                "target": given("target"),
                "sd": given("sd"),
                "weight": given("weight", default=0.2),
                "width": given("width", default=3.0),
            }
            return analysis.drift(self._rows(kind, file), **chart)
        if kind == "wear":
            limit, new, gauge_sd = given("limit"), perhaps("new"), perhaps("gauge-sd")
            if gauge_sd is not None and gauge_sd <= 0:
                raise BadInput("--gauge-sd must be above 0.")
            if new is not None and new == limit:
                raise BadInput("--new and --limit are the same: a new part would be worn.")
            return analysis.wear(self._rows(kind, file), new=new, limit=limit, gauge_sd=gauge_sd)
        rows = self._rows(kind, file)
        if kind == "recurrence":
            return analysis.recurrence(rows, terminated=terminated)
        return analysis.life(rows)

    def _hours(self, runs: str | None, readings: str | None, *, press: str | None, by_meter: bool) -> Found:
        if not readings:
            columns = ", ".join(hours_of_files.READINGS)
            raise BadInput(f"analyse hours needs --readings, a CSV file with the columns {columns}.")
        if runs == readings == "-":
            raise BadInput("Only one of runs and readings can come from standard input.")
        return hours_of_files.hours(
            self._rows("hours", runs),
            self._read(readings, hours_of_files.READINGS),
            press=press,
            by_meter=by_meter,
        )

    def _rows(self, kind: str, name: str | None) -> list[Row]:
        columns = COLUMNS[kind]
        if not name:
            raise BadInput(f"analyse {kind} needs a CSV file with the columns {', '.join(columns)}.")
        return self._read(name, columns)

    def _read(self, name: str, columns: Sequence[str]) -> list[Row]:
        if name == "-":
            return analysis.read_columns(sys.stdin, columns)
        try:
            with Path(name).open(encoding="utf-8-sig", newline="") as stream:
                return analysis.read_columns(stream, columns)
        except OSError as error:
            raise BadInput(f"The file {name} can't be read: {error.strerror}.") from error


def as_text(found: Found, indent: str = "") -> str:
    """Name and value on each line; lists of records one after another."""
    lines = []
    for name, value in found.items():
        words = name.replace("_", " ")
        if isinstance(value, list) and value and isinstance(value[0], dict):
            lines.append(f"{indent}{words}:")
            lines += [as_text(each, indent + "  ") + "\n" for each in value]
        elif isinstance(value, list) and value and isinstance(value[0], list):
            lines.append(f"{indent}{words}:")
            lines += [f"{indent}  {'  '.join(shown(each) for each in row)}" for row in value]
        elif isinstance(value, list):
            lines.append(f"{indent}{words}: {', '.join(shown(each) for each in value)}")
        else:
            lines.append(f"{indent}{words}: {shown(value)}")
    return "\n".join(lines)


def shown(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
