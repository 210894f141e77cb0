"""The track record as JSON and as a table for a terminal."""

from __future__ import annotations

import json

from wearlog.calc.track import Summary
from wearlog.forecasts.track.record import STEP_DAYS, Tracked, TrackRecord
from wearlog.forecasts.track.replays import EdgeForecast

HOW = {
    "gauged": "dated along the seed between two gauges",
    "retired": "came off, retired as worn",
    "turned": "came off, turned or replaced as worn",
}


def as_json(found: TrackRecord) -> str:
    data = {
        "as_of": found.as_of.isoformat(),
        "edges_at_limit": len(found.edges),
        "leads": [{"days_ahead": lead, **_summary(each)} for lead, each in found.leads.items()],
        "correction": {
            "factor": round(found.factor, 3),
            "edges_judged": found.judged,
            "factor_in_force": round(found.in_force, 3),
            "forward": {
                "edges": found.forward.edges,
                "held_as_given": found.forward.held_as_given,
                "held_widened": found.forward.held_widened,
                "corrected": found.forward.corrected,
            },
        },
        "edges": [_edge(one) for one in found.edges],
    }
    return json.dumps(data, ensure_ascii=False, indent=2)


def _summary(each: Summary) -> dict[str, object]:
    return {
        "edges": each.edges,
        "with_range": each.ranged,
        "held": each.held,
        "came_before_range": each.early,
        "came_after_range": each.late,
        "share_held": _number(each.share_held, 3),
        "mean_error_days": _number(each.mean_error),
        "mean_bias_days": _number(each.mean_bias),
        "median_width_days": _number(each.median_width),
        "compared_with_lumped": each.paired,
        "mean_error_days_compared": _number(each.paired_error),
        "lumped_mean_error_days": _number(each.lumped_error),
        "error_against_lumped": _number(each.against_lumped, 3),
    }


def _edge(one: Tracked) -> dict[str, object]:
    reached = one.reached
    return {
        "part": reached.part,
        "edge": reached.key[1],
        "part_type": reached.type,
        "reached_on": reached.came.isoformat(),
        "dated_by": reached.how,
        "between": None if reached.between is None else [day.isoformat() for day in reached.between],
        "said": {
            str(lead): {"as_of": day.isoformat(), **_forecast(forecast)}
            for lead, (day, forecast) in one.forecasts.items()
        },
    }


def _forecast(forecast: EdgeForecast) -> dict[str, str | None]:
    days = {
        "early_on": forecast.early,
        "due_on": forecast.mid,
        "late_on": forecast.late,
        "lumped_on": forecast.lumped,
    }
    return {name: None if day is None else day.isoformat() for name, day in days.items()} | {
        "basis": forecast.basis
    }


def _number(value: float | None, digits: int = 1) -> float | None:
    return None if value is None else round(value, digits) + 0.0


def as_table(found: TrackRecord) -> str:
    """A line for each lead time, then the widening of ranges, then lines for each edge."""
    lines = [f"Track record as of {found.as_of.isoformat()}: {len(found.edges)} edges came to their limits"]
    if not found.edges:
        return lines[0] + ".\nIt begins with the first edge that is retired, turned or gauged as worn.\n"
    lines += [
        f"Each lead is up to {STEP_DAYS - 1} days longer than named. 80 % of days should lie in the range.",
        "",
        f"{'ahead':>7} {'edges':>6} {'range held':>14} {'before':>7} {'after':>6} {'width':>6} "
        f"{'error':>6} {'lumped':>7} {'compared':>9}",
    ]
    for lead, each in found.leads.items():
        share = "" if each.share_held is None else f" {100 * each.share_held:.0f} %"
        lines.append(
            f"{lead:>5} d {each.edges:>6} {f'{each.held} of {each.ranged}{share}':>14} {each.early:>7} "
            f"{each.late:>6} {_days(each.median_width):>6} {_days(each.paired_error):>6} "
            f"{_days(each.lumped_error):>7} {each.paired:>9}"
        )
    lines += [
        "Width: median, in days. Error and lumped: mean days off, over the edges of which both named a day.",
        "",
        *_correction(found),
        "",
    ]
    for one in found.edges:
        name = f"{one.reached.part} {one.reached.key[1]}".strip()
        forecast = "; ".join(f"{lead} d ahead {_range(each)}" for lead, (_, each) in one.forecasts.items())
        lines.append(f"{one.reached.came.isoformat()}  {name:<12} {HOW[one.reached.how]}")
        lines.append(f"            {forecast or 'not in use 30 days before'}")
    return "\n".join(lines) + "\n"


def _correction(found: TrackRecord) -> list[str]:
    forward = found.forward
    return [
        "Ranges are shown as worked out, before any widening.",
        f"This record ({found.judged} edges judged) asks for {found.factor:.2f} times as wide;",
        f"forecasts are now given {found.in_force:.2f} times as wide;",
        f"widened so as the record grew, {forward.held_widened} of {forward.edges} would have held "
        f"instead of {forward.held_as_given}.",
    ]


def _range(forecast: EdgeForecast) -> str:
    if forecast.early is None or forecast.mid is None or forecast.late is None:
        return "no full range"
    return f"{forecast.early.isoformat()} to {forecast.late.isoformat()} (middle {forecast.mid.isoformat()})"


def _days(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"
