"""The track record as JSON and as a table for a terminal."""

from __future__ import annotations

import json

from wearlog.calc.choice import ALONE
from wearlog.calc.conformal import SideFactors
from wearlog.calc.track import Summary
from wearlog.forecasts.speakers import shares
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
        "correction": _correction_values(found),
        "edges": [_edge(one) for one in found.edges],
    }
    return json.dumps(data, ensure_ascii=False, indent=2)


def _correction_values(found: TrackRecord) -> dict[str, object]:
    """`factor` is the mean of both sides: how many times as wide a symmetric range becomes."""
    factors, forward = found.learned.factors, found.forward
    return {
        "factor": round(_mean(factors.pooled), 3),
        **_sides(factors.pooled),
        "edges_judged": found.learned.judged,
        "models": dict(found.chosen.weights),
        "models_in_force": dict(found.in_force.weights or ALONE),
        "models_interval_score_days": {name: _number(score) for name, score in found.chosen.scores.items()},
        "part_types": [
            {"part_type": found.type_codes[key], "edges_judged": found.learned.judged_of[key], **_sides(own)}
            for key, own in factors.own.items()
        ],
        "factor_in_force": round(_mean(found.in_force.pooled), 3),
        **{f"{name}_in_force": value for name, value in _sides(found.in_force.pooled).items()},
        "part_types_in_force": [
            {"part_type": found.type_codes[key], **_sides(own)} for key, own in found.in_force.own.items()
        ],
        "forward": {
            "edges": forward.edges,
            "held_as_given": forward.held_as_given,
            "held_widened": forward.held_corrected,
            "came_before_corrected": forward.before_corrected,
            "came_after_corrected": forward.after_corrected,
            "corrected": forward.corrected,
            "interval_score_days_as_given": _number(forward.score_as_given),
            "interval_score_days_corrected": _number(forward.score_corrected),
        },
    }


def _mean(sides: SideFactors) -> float:
    return (sides.early + sides.late) / 2


def _sides(sides: SideFactors) -> dict[str, object]:
    return {"early_factor": round(sides.early, 3), "late_factor": round(sides.late, 3)}


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
    """A line for each lead time, then the correction of ranges, then lines for each edge."""
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
    learned = found.learned
    lines = [
        "Ranges are shown as worked out, before any correction, by the wear model alone.",
        f"This record ({found.chosen.edges} edges judged) mixes: {shares(found.chosen.weights)};",
        f"in force is: {shares(found.in_force.weights or ALONE)}.",
        f"This record ({learned.judged} edges judged) puts {_distances(learned.factors.pooled)};",
        f"in force is {_distances(found.in_force.pooled)}.",
    ]
    for key, own in learned.factors.own.items():
        asked = f"({learned.judged_of[key]} edges judged) puts {_distances(own)}."
        lines.append(f"Part type {found.type_codes[key]} {asked}")
    for key, own in found.in_force.own.items():
        lines.append(f"For part type {found.type_codes[key]} is in force {_distances(own)}.")
    lines.append(
        f"Corrected so as the record grew, {forward.held_corrected} of {forward.edges} would have held "
        f"instead of {forward.held_as_given}"
        + (
            "."
            if forward.score_as_given is None or forward.score_corrected is None
            else f", with an interval score of {forward.score_corrected:.0f} days instead of "
            f"{forward.score_as_given:.0f} (width and misses; less is better)."
        )
    )
    return lines


def _distances(sides: SideFactors) -> str:
    return f"the early day at {sides.early:.2f} and the late day at {sides.late:.2f} times its distance"


def _range(forecast: EdgeForecast) -> str:
    if forecast.early is None or forecast.mid is None or forecast.late is None:
        return "no full range"
    return f"{forecast.early.isoformat()} to {forecast.late.isoformat()} (middle {forecast.mid.isoformat()})"


def _days(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"
