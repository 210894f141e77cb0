"""A doubt in words: what was seen, why it is doubted, and what is proposed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.doubts.looking import OpenDoubt
from wearlog.history.record import Record
from wearlog.people.words import day, when
from wearlog.runs.models import Cause

KG = Decimal("0.1")
"""Weights are proposed to 100 g."""


@dataclass(frozen=True)
class Said:
    """seen: what stands in the log and why it is doubted. proposed: what would be right then. reason: what is
    kept with the correction where the proposal is accepted by one touch; empty where a person has to write
    something down first. right: the words for leaving it as it is."""

    seen: str
    proposed: str
    right: str
    reason: str = ""


def kg_of(doubt: OpenDoubt) -> Decimal | None:
    """The proposed weight, as it would be stored."""
    return None if doubt.kg is None else Decimal(doubt.kg).quantize(KG)


def said(doubt: OpenDoubt, record: Record, system: str) -> Said:
    return {
        Cause.PACE: _pace,
        Cause.STEP: _step,
        Cause.SWAPPED: _swapped,
        Cause.GAP: _gap,
        Cause.UNLOGGED: _unlogged,
        Cause.IDLE: _idle,
    }[doubt.cause](doubt, record, system)


def _values(doubt: OpenDoubt, record: Record, system: str) -> dict[str, object]:
    first, last = (datetime.fromtimestamp(at, UTC) for at in (doubt.first, doubt.last))
    return {
        "press": record.presses[doubt.press].label,
        "other": "" if doubt.other is None else record.presses[doubt.other].label,
        "crop": doubt.crop,
        "when": when(first, record.zone),
        "until": when(last, record.zone),
        "day": day(record.day_of(doubt.first)),
        "last": day(record.day_of(doubt.last)),
        "hours": units.show_hours(doubt.hours, system),
        "seed": units.show_mass(doubt.seed_kg, system),
        "kg": units.show_mass(kg_of(doubt), system),
    }


def _pace(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    if doubt.factor > 1:
        values["times"] = units.show_number(doubt.factor, 1)
        seen = _(
            "The run of %(when)s has %(seed)s of %(crop)s: %(times)s times the pace of the runs around it."
        )
    else:
        values["percent"] = units.show_number(100 * doubt.factor, 0 if doubt.factor >= 0.1 else 1)
        seen = _(
            "The run of %(when)s has %(seed)s of %(crop)s: %(percent)s %% of the pace of the runs around it."
        )
    right = _("It is right")
    if doubt.kg is None:
        proposed = _("Look at its seed, start, end and hours, and correct what is wrong.")
        return Said(seen % values, proposed, right)
    return Said(
        seen % values,
        _("With the decimal point elsewhere it would be %(kg)s, which fits.") % values,
        right,
        _("Decimal point: %(kg)s instead of %(seed)s") % values,
    )


def _step(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    values["percent"] = units.show_number(100 * abs(doubt.factor - 1), 0)
    seen = (
        _("About %(day)s the pace with %(crop)s rose by %(percent)s %% at once, and no work is on record.")
        if doubt.factor > 1
        else _(
            "About %(day)s the pace with %(crop)s fell by %(percent)s %% at once, and no work is on record."
        )
    )
    return Said(
        seen % values,
        _("Was a die changed or turned, or a screw polished or swapped? Log it on its day."),
        _("Nothing was changed"),
    )


def _swapped(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    return Said(
        _("On %(day)s %(press)s ran at the usual pace of %(other)s, and %(other)s at that of %(press)s.")
        % values,
        _("The two were mixed up: give each the runs of the other."),
        _("They ran like that"),
        _("Mixed up with %(other)s") % values,
    )


def _gap(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    seen = (
        _("No run of %(day)s is on record, a day on which this press usually runs.")
        if doubt.first == doubt.last
        else _("No run from %(day)s to %(last)s is on record; this press usually runs on such days.")
    )
    return Said(seen % values, _("Type up what is missing."), _("It stood still"))


def _unlogged(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    return Said(
        _("From %(when)s to %(until)s the meter counted %(hours)s more than the runs say.") % values,
        _("Type up the runs that are missing, or correct the hours of those that are there."),
        _("It ran empty"),
    )


def _idle(doubt: OpenDoubt, record: Record, system: str) -> Said:
    values = _values(doubt, record, system)
    values["percent"] = units.show_number(100 * doubt.factor, 1)
    return Said(
        _(
            "Since %(day)s the meter has counted a little more than the runs nearly always: %(hours)s in "
            "all, %(percent)s %% of its hours."
        )
        % values,
        _(
            "If the press turns in these hours, parts wear by them too: let its hours count by the meter. If "
            "it only warms up, nothing is to be done."
        ),
        _("It warms up or idles"),
    )
