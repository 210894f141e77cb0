"""Questions about values of a run or a reading that look wrong but may be right; stored once confirmed.

The limits are the project's own choice. A factor of 2.2 suggests pounds instead of kilograms, one of 1,000
tonnes instead of kilograms, either way round. The rates of small presses (1 to 2,000 kg/h, wider than the 5
to 1,000 of trade literature) are used only for a press that has no usual rate yet.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from itertools import groupby

from django.utils.translation import gettext as _

from wearlog.calc.meters import SLACK_H
from wearlog.equipment.actions import CLOCKS_DIFFER
from wearlog.equipment.kinds import GROUND_BY_SEED
from wearlog.equipment.models import Fitting, Position
from wearlog.people.audit import plain_number
from wearlog.people.refusals import Doubt, Doubtful
from wearlog.people.words import figure, in_language, when
from wearlog.runs import queries
from wearlog.runs.hours import hours_between
from wearlog.runs.models import Reading, ReadingKind, Run

POUND = 2.2046
UNIT_BAND = 0.08
"""A rate within 8 % of 2.2046 times the usual one (or of 1/2.2046 of it) suggests pounds."""
PACES = (1.0, 2000.0)
GAP_THAT_COUNTS = timedelta(minutes=15)


def ask(doubts: Sequence[Doubt], confirmed: Collection[str]) -> None:
    """Raise Doubtful with the doubts that have not been confirmed, one for each code."""
    first_of: dict[str, Doubt] = {}
    for doubt in doubts:
        if doubt.code not in confirmed:
            first_of.setdefault(doubt.code, doubt)
    if first_of:
        raise Doubtful(list(first_of.values()))


def slack_h(clock_h: float) -> float:
    """By how much written hours may exceed elapsed time: the meter's allowance plus 0.5 % of the time."""
    return SLACK_H + 0.005 * clock_h


def in_the_future(*instants: datetime | None, at: datetime, field: str) -> list[Doubt]:
    late = [instant for instant in instants if instant is not None and instant > at + CLOCKS_DIFFER]
    if not late:
        return []
    return [
        Doubt(
            "in_the_future",
            _("%(when)s has not come yet. Are day and time right?") % {"when": when(late[-1])},
            field,
        )
    ]


def about_hours(run: Run, hours: float | None) -> list[Doubt]:
    """A question if the hours exceed the time between start and end."""
    if hours is None or run.ended_at is None:
        return []
    clock = hours_between(run.started_at, run.ended_at)
    if hours <= clock + slack_h(clock):
        return []
    return [
        Doubt(
            "more_hours_than_clock",
            _("%(hours)s hours are more than the %(clock)s hours from %(when)s to %(end)s. Is a digit wrong?")
            % {
                "hours": figure(hours, ".4g"),
                "clock": figure(clock, ".4g"),
                "when": when(run.started_at),
                "end": when(run.ended_at),
            },
            "hours_h",
        )
    ]


def since_last_run(run: Run, hours: float, last: Run) -> list[Doubt]:
    """The question for a run with more hours than have passed since the press's previous run."""
    if run.ended_at is None or last.ends_at is None:
        return []
    clock = hours_between(last.ends_at, run.ended_at)
    return [
        Doubt(
            "more_hours_than_clock",
            _(
                "%(hours)s hours are more than the %(clock)s hours since the last run of "
                "%(press)s ended on %(when)s. Is a digit wrong?"
            )
            % {
                "hours": figure(hours, ".4g"),
                "clock": figure(clock, ".4g"),
                "press": run.press,
                "when": when(last.ends_at),
            },
            "hours_h",
        )
    ]


def about_pace(run: Run, hours: float | None) -> list[Doubt]:
    """A question if the rate is far from the press's usual kilograms per hour for this crop."""
    if hours is None or hours <= 0 or run.seed_kg <= 0 or run.purge:
        return []
    rate = float(run.seed_kg) / hours
    usual = queries.usual_rate(run.press, run.crop, slot=run.slot, exclude=run.pk)
    if usual is None:
        if hours >= 0.25 and not PACES[0] <= rate <= PACES[1]:
            return [
                Doubt(
                    "unit_looks_wrong",
                    _("%(rate)s is not the pace of a small press. Is the unit of the seed right?")
                    % {"rate": pace_words(rate)},
                    "seed_kg",
                )
            ]
        return []
    ratio = rate / usual.kg_per_h
    said = _("%(rate)s is %(ratio)s what %(press)s usually presses of %(crop)s (%(usual)s).") % {
        "rate": pace_words(rate),
        "ratio": times_words(ratio),
        "press": run.press,
        "crop": run.crop,
        "usual": pace_words(usual.kg_per_h),
    }
    for factor in (POUND, 1 / POUND):
        if abs(ratio / factor - 1) <= UNIT_BAND:
            return [
                Doubt(
                    "unit_looks_wrong",
                    _("%(said)s Pounds and kilograms mixed up?") % {"said": said},
                    "seed_kg",
                )
            ]
    if 500 <= ratio <= 2000 or 1 / 2000 <= ratio <= 1 / 500:
        return [
            Doubt(
                "unit_looks_wrong", _("%(said)s Tonnes and kilograms mixed up?") % {"said": said}, "seed_kg"
            )
        ]
    if ratio >= 2:
        return [Doubt("twice_the_rate", _("%(said)s Are seed and hours right?") % {"said": said}, "seed_kg")]
    if ratio <= 0.5:
        return [Doubt("half_the_rate", _("%(said)s Are seed and hours right?") % {"said": said}, "seed_kg")]
    return []


def pace_words(kg_per_h: float) -> str:
    return _("%(rate)s kg an hour") % {"rate": figure(kg_per_h, ".3g")}


def times_words(ratio: float) -> str:
    return (
        _("%(ratio)s times") % {"ratio": figure(ratio, ".3g")}
        if ratio >= 1
        else _("1/%(ratio)s of") % {"ratio": figure(1 / ratio, ".3g")}
    )


def about_what_is_fitted(run: Run) -> list[Doubt]:
    """A question if, by the log, a screw or die position was empty while the run pressed."""
    end = run.ends_at or run.started_at + timedelta(seconds=1)
    fittings = (
        Fitting.objects.not_voided()
        .filter(position__press=run.press_id, position__kind__in=GROUND_BY_SEED, fitted_at__lt=end)
        .select_related("position__press")
        .order_by("position__name", "fitted_at")
    )
    if run.slot:
        fittings = fittings.filter(position__barrel__in=("", *run.through.split()))
    for _rest, on_position in groupby(fittings, key=lambda fitting: fitting.position_id):
        since = empty_since(list(on_position), run.started_at, end)
        if since is not None:
            return [gap_words(since[0], since[1])]
    return []


def empty_since(
    fittings: Sequence[Fitting], start: datetime, end: datetime
) -> tuple[Position, datetime] | None:
    """The position of these fittings (in order) and since when it was empty within [start, end); else
    None."""
    covered = fittings[0].removed_at
    for fitting in fittings[1:]:
        if covered is not None and fitting.fitted_at - max(covered, start) > GAP_THAT_COUNTS:
            return fitting.position, max(covered, start)
        covered = fitting.removed_at
    if covered is None or covered >= end:
        return None
    since = max(covered, start)
    if covered <= start or end - since > GAP_THAT_COUNTS:
        return fittings[0].position, since
    return None


def gap_words(position: Position, since: datetime) -> Doubt:
    return Doubt(
        "overlaps_gap",
        _(
            "By the log nothing sat on %(position)s at %(when)s. Was a part fitted and not "
            "logged? What wears there is counted only once its fitting is logged."
        )
        % {"position": position, "when": when(since)},
        "press",
    )


def about_reading(reading: Reading, *, at: datetime) -> list[Doubt]:
    """Questions if the meter went back or was faster than the clock, compared with its neighbouring
    readings."""
    doubts = in_the_future(reading.read_at, at=at, field="meter_h")
    before = queries.reading_before(reading.press_id, reading.read_at, exclude=reading.pk)
    after = queries.reading_after(reading.press_id, reading.read_at, exclude=reading.pk)
    if before is not None and reading.kind == ReadingKind.READING:
        doubts += _step(before, reading)
    if after is not None and after.kind == ReadingKind.READING:
        doubts += _step(reading, after)
    return doubts


def _step(first: Reading, second: Reading) -> list[Doubt]:
    advance = float(second.meter_h - first.meter_h)
    clock = hours_between(first.read_at, second.read_at)
    if advance < 0:
        return [
            Doubt(
                "meter_went_back",
                _(
                    "The meter showed %(first)s h on %(when)s and %(second)s h on "
                    "%(then)s. If the meter was replaced, say new meter; if one reading "
                    "was a slip, correct that one."
                )
                % {
                    "first": plain(first),
                    "when": when(first.read_at),
                    "second": plain(second),
                    "then": when(second.read_at),
                },
                "meter_h",
            )
        ]
    if advance > clock + SLACK_H:
        return [
            Doubt(
                "more_hours_than_clock",
                _(
                    "The meter advanced %(advance)s hours in the %(clock)s hours from %(when)s to "
                    "%(then)s. Is a digit wrong?"
                )
                % {
                    "advance": figure(advance, ".4g"),
                    "clock": figure(clock, ".4g"),
                    "when": when(first.read_at),
                    "then": when(second.read_at),
                },
                "meter_h",
            )
        ]
    return []


def plain(reading: Reading) -> str:
    return in_language(plain_number(reading.meter_h))
