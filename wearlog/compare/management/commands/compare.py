"""`manage.py compare`: hours and costs per tonne across presses, crops and seasons, in the terminal."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Collection, Mapping
from dataclasses import asdict

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from wearlog.compare.columns import figure_words, pair_words, relevant, shown
from wearlog.compare.earning import sentences
from wearlog.compare.export import as_csv
from wearlog.compare.grounds import ground_words
from wearlog.compare.queries import GROUPS, BadGrouping, Comparison, compare, parse_by
from wearlog.people.models import Mill, Units
from wearlog.runs.seasons import SEASON_START, BadSeasonStart


class Command(BaseCommand):
    help = (
        "Compare hours per tonne, and costs as far as prices are recorded, across presses, crops and seasons."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--by", default=",".join(GROUPS), help="press, crop, season: one or more, comma between (all)"
        )
        parser.add_argument(
            "--season-start",
            default=SEASON_START,
            metavar="MM-DD",
            help=f"month and day on which a season begins ({SEASON_START})",
        )
        parser.add_argument("--units", choices=Units.values, default="", help="metric or us (the mill's own)")
        parser.add_argument("--press", action="append", default=[], help="only this press (may be repeated)")
        parser.add_argument("--crop", action="append", default=[], help="only this crop (may be repeated)")
        parser.add_argument("--season", action="append", default=[], help="only this season, as 2025/26")
        parser.add_argument("--format", choices=("table", "json", "csv"), default="table", dest="output")

    def handle(
        self,
        *args: object,
        by: str,
        season_start: str,
        units: str,
        press: list[str],
        crop: list[str],
        season: list[str],
        output: str,
        **options: object,
    ) -> None:
        try:
            comparison = compare(
                by=parse_by(by),
                season_start=season_start,
                presses=press,
                crops=crop,
                seasons=season,
                money_on=timezone.localdate(),
            )
        except (BadGrouping, BadSeasonStart) as error:
            raise CommandError(str(error)) from error
        self._refuse_unknown(comparison, {"press": press, "crop": crop, "season": season})
        system = units or Mill.current().units
        if output == "json":
            self.stdout.write(json.dumps(as_data(comparison), ensure_ascii=False, indent=1))
        elif output == "csv":
            self.stdout.write(as_csv(comparison, system), ending="")
        else:
            self.stdout.write(as_text(comparison, system))

    def _refuse_unknown(self, comparison: Comparison, named: Mapping[str, Collection[str]]) -> None:
        for name, choices in comparison.choices.items():
            known = [code for code, _words in choices]
            for value in named[name]:
                if value not in known:
                    raise CommandError(
                        f"There is no {name} “{value}” on record: choose from {', '.join(known) or 'none'}."
                    )


def as_data(comparison: Comparison) -> dict[str, object]:
    """The comparison as plain data in metric units; each name contains its unit."""
    data: dict[str, object] = asdict(comparison)
    del data["choices"]
    return data


def as_text(comparison: Comparison, system: str) -> str:
    """Aligned columns with the total last, then each press at the crops that all of them ran."""
    shown_columns = relevant(comparison.by, comparison.total, system, currency=comparison.currency)
    table = [[column.words for column in shown_columns]]
    table += [
        [shown(column.value(line), column.digits, system) for column in shown_columns]
        for line in [*comparison.lines, comparison.total]
    ]
    table[-1][0] = "all"
    text = ragged(table, [column.digits is not None for column in shown_columns])
    ton = "short ton" if system == Units.US else "tonne"
    figures = [["Press", f"Hours per {ton}", "At the crops all ran", "95 % range"]]
    figures += [[figure.press_name, *figure_words(figure, system)] for figure in comparison.presses]
    parts = [text]
    if comparison.presses:
        parts += ["", ragged(figures, [False, True, True, False]), ""]
    if comparison.mix:
        mix = ", ".join(f"{share.crop} {share.share_pct:.1f} %" for share in comparison.mix)
        parts += [
            f"Compared {ground_words(comparison.mix, comparison.left_out, system)}.",
            f"Common crop mix: {mix}.",
        ]
    if comparison.pairs:
        pairs = [["Two by two", "First", "Second", ""]]
        pairs += [list(pair_words(pair, system)) for pair in comparison.pairs]
        parts += [ragged(pairs, [False, True, True, False]), ""]
    parts += sentences(comparison, system)
    if comparison.running:
        parts.append(f"Runs that have not ended, not counted: {comparison.running}.")
    return "\n".join(parts)


def ragged(table: list[list[str]], right: list[bool]) -> str:
    """Rows of text with columns as wide as their widest cell, ragged on the right; numbers are
    right-aligned."""
    widths = [max(len(row[place]) for row in table) for place in range(len(right))]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if to_right else cell.ljust(width)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in table
    )
