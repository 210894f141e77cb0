"""`manage.py track_record`: what forecasts said 30, 60 and 90 days ahead, against the day that came."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from wearlog.forecasts.management.commands._asked import add_day, day_asked
from wearlog.forecasts.track import TrackRecord, track_record


class Command(BaseCommand):
    help = "Replay the past for every edge that reached its limit: how often did the 80 % range hold?"
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        add_day(parser)
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        record = track_record(as_of=day_asked(options["as_of"]))
        text = as_json(record) if options["format"] == "json" else as_table(record)
        self.stdout.write(text)


def as_json(record: TrackRecord) -> str:
    leads = {
        str(lead): asdict(one) | {"share_held": one.share_held, "against_lumped": one.against_lumped}
        for lead, one in record.leads.items()
    }
    edges = [
        {
            "part": one.reached.part,
            "edge": one.reached.key[1],
            "came_on": one.reached.came,
            "between": one.reached.between,
            "how": one.reached.how,
            "said": {
                str(lead): {"on": day, "early_on": said.early, "due_on": said.mid, "late_on": said.late}
                for lead, (day, said) in one.said.items()
            },
        }
        for one in record.edges
    ]
    data = {
        "as_of": record.as_of,
        "leads": leads,
        "forward": asdict(record.forward),
        "widening": record.factor,
        "edges": edges,
    }
    return json.dumps(data, indent=2, default=date.isoformat)


def as_table(record: TrackRecord) -> str:
    if not record.edges:
        return (
            f"No edge had reached its limit by {record.as_of}, so there is nothing yet to hold forecasts to. "
            "Gauge edges and log why they come off."
        )
    lines = [
        f"Edges that had reached their limit by {record.as_of}: {len(record.edges)}",
        "",
        "days ahead  range held  mean error  lumped rate's  median width",
    ]
    for lead, one in record.leads.items():
        lines.append(
            f"{lead:>10}  {f'{one.held} of {one.ranged}':>10}  {days(one.mean_error):>10}  "
            f"{days(one.lumped_error):>13}  {days(one.median_width):>12}"
        )
    forward = record.forward
    lines += [
        "",
        "The range is meant to hold four times in five. Errors of the lumped rate (wear at the last gauge",
        "over the seed until then) are over the edges for which it named a day.",
        f"Widened by what was known at the time, ranges would have held {forward.held_widened} of "
        f"{forward.edges} times ({forward.held_as_given} as given).",
    ]
    return "\n".join(lines)


def days(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} days"
