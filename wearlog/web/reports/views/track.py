"""The track record: when wear limits were predicted, and when they were reached."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.calc.choice import ALONE, PRIOR
from wearlog.calc.conformal import FEWEST_EDGES, FEWEST_OF_KIND, FULL_EDGES
from wearlog.calc.track import Summary
from wearlog.forecasts import speakers
from wearlog.forecasts.track.learning import in_force_on
from wearlog.forecasts.track.record import LEADS, STEP_DAYS, Tracked, TrackRecord, track_record
from wearlog.forecasts.track.replays import EdgeForecast
from wearlog.people.roles import Permission
from wearlog.web.drawing.promises import picture
from wearlog.web.site.access import MillRequest, needs

USUAL_LEAD = 60
MOST_BARS = 40
PAST_DAYS = 3 * 365
"""How far back the page goes; the command covers everything."""


@dataclass(frozen=True)
class TrackedLine:
    """One edge at the chosen lead time, for the table."""

    part_id: int
    name: str
    came: date
    between: tuple[date, date] | None
    made_on: date
    forecast: EdgeForecast
    verdict: str


def lines_of(edges: Sequence[Tracked], lead: int) -> list[TrackedLine]:
    """The lines of the table, newest first."""
    lines = []
    for one in reversed(edges):
        if lead not in one.forecasts:
            continue
        made_on, forecast = one.forecasts[lead]
        came = one.reached.came
        lines.append(
            TrackedLine(
                part_id=one.reached.key[0],
                name=f"{one.reached.part} {one.reached.key[1]}".strip(),
                came=came,
                between=one.reached.between,
                made_on=made_on,
                forecast=forecast,
                verdict=verdict_of(forecast, came),
            )
        )
    return lines


@dataclass(frozen=True)
class ModelLine:
    """A model that may have a say in the day of a limit. percent: of its say in today's forecasts. score: the
    mean interval score in days of what it would have said of past limits; None where too few are judged."""

    name: str
    about: str
    percent: int
    score: float | None


def models_of(found: TrackRecord, weights: Mapping[str, float]) -> list[ModelLine]:
    return [
        ModelLine(
            name=speakers.name_of(model),
            about=speakers.about(model),
            percent=round(100 * weights.get(model, 0.0)),
            score=found.chosen.scores.get(model),
        )
        for model in PRIOR
    ]


def verdict_of(forecast: EdgeForecast, came: date) -> str:
    """`held` where the day lay in the range, `before` or `after` it, or `none` without a full range."""
    if forecast.early is None or forecast.mid is None or forecast.late is None:
        return "none"
    return "before" if came < forecast.early else "after" if came > forecast.late else "held"


@needs(Permission.VIEW)
def track(request: MillRequest) -> HttpResponse:
    """`?ahead=30|60|90` chooses the lead time in days for chart, sentence and table."""
    today = timezone.localdate()
    requested = request.GET.get("ahead", "")
    lead = int(requested) if requested.isdecimal() and int(requested) in LEADS else USUAL_LEAD
    # The figures of last night, which have been computed in the background since then.
    night = today - timedelta(days=1)
    found = track_record(as_of=night, since=night - timedelta(days=PAST_DAYS), stored_only=True)
    lines = lines_of(found.edges, lead)
    rows = [(line.name, line.forecast.range, float(line.came.toordinal())) for line in lines[:MOST_BARS]]
    drawn = [(name, given, came) for name, given, came in rows if given is not None]
    leads: list[tuple[int, Summary]] = list(found.leads.items())
    factors = in_force_on(today)
    return render(
        request,
        "web/reports/track.html",
        {
            "today": today,
            "found": found,
            "lead": lead,
            "summary": found.leads[lead],
            "leads": leads,
            "lines": lines,
            "picture": picture(drawn),
            "longer": STEP_DAYS - 1,
            "factors": factors,
            "models": models_of(found, (factors[0].weights if factors else None) or ALONE),
            "alone": not (factors and factors[0].weights),
            "judged": factors[0].judged if factors else 0,
            "moved": any((row.early, row.late) != (1.0, 1.0) for row in factors),
            "fewest": FEWEST_EDGES,
            "fewest_of_kind": FEWEST_OF_KIND,
            "full": FULL_EDGES,
            "most_bars": MOST_BARS,
        },
    )
