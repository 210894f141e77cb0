"""Seed that nobody weighed: worked out from the press's usual rate and the hours, and stored once confirmed.

The rate is the median of the latest runs of the same crop through the same barrels: of those with dies of the
same size as now, or, with fewer than three such runs, of those with any die. Runs whose seed was itself
worked out are left out, so that guesses are never based on guesses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.equipment.models import Fitting, Kind
from wearlog.people.refusals import Doubt, Refused
from wearlog.people.words import figure, in_language
from wearlog.runs import queries, validation
from wearlog.runs.models import Run, SeedHow

LOOKED_AT = 120
"""This many of the latest runs are searched for those with the same die."""


@dataclass(frozen=True)
class Pace:
    """The rate to use, and the die sizes (mm) of the runs behind it; empty if runs with any die were used."""

    rate: queries.UsualRate
    sizes: tuple[Decimal, ...]


def pace_of(run: Run) -> Pace | None:
    """The rate from which to work out the seed of `run`, or None with too few runs. At most four queries."""
    usable = Run.objects.of(run.press).with_usable_rate().filter(crop=run.crop, slot=run.slot)
    if run.pk is not None:
        usable = usable.exclude(pk=run.pk)
    latest = list(usable.order_by("-ends_at", "-pk")[:LOOKED_AT])
    fittings = _dies(run)
    sizes = _sizes_at(fittings, run.started_at)
    if sizes:
        alike = [one for one in latest if _sizes_at(fittings, one.started_at) == sizes]
        rate = queries.rate_of(alike[: queries.RUNS_FOR_A_RATE])
        if rate is not None:
            return Pace(rate, sizes)
    rate = queries.rate_of(latest[: queries.RUNS_FOR_A_RATE])
    return None if rate is None else Pace(rate, ())


def _dies(run: Run) -> list[Fitting]:
    found = Fitting.objects.not_voided().filter(position__press=run.press_id, position__kind=Kind.DIE)
    if run.slot:
        found = found.filter(position__barrel__in=("", *run.through.split()))
    return list(found.select_related("part__part_type").order_by("position__name", "fitted_at"))


def _sizes_at(fittings: Sequence[Fitting], instant: datetime) -> tuple[Decimal, ...]:
    """The sizes of the dies in place at an instant, in order of position; empty where none is known."""
    return tuple(
        fitting.part.part_type.size_mm
        for fitting in fittings
        if fitting.fitted_at <= instant
        and (fitting.removed_at is None or instant < fitting.removed_at)
        and fitting.part.part_type.size_mm is not None
    )


def work_out(run: Run, *, hours: float | None) -> Doubt:
    """Set the run's seed to what its press usually takes in its hours, and return the question to confirm it.

    Raises Refused, with what to do, if the hours or the rate are not known."""
    if hours is None:
        raise Refused(
            _("The seed of a run that goes on is written when it ends. Leave it for then."), field="seed_kg"
        )
    pace = pace_of(run)
    if pace is None:
        raise Refused(
            _(
                "There are not three runs of %(crop)s on %(press)s yet whose seed and hours are known, so it "
                "can't be worked out. Write your best guess and choose “about”."
            )
            % {"crop": run.crop, "press": run.press},
            field="seed_kg",
        )
    seed = Decimal(repr(pace.rate.kg_per_h * hours))
    run.seed_how = SeedHow.WORKED_OUT
    run.seed_kg = seed.quantize(Decimal(1) if seed >= 10 else Decimal("0.1"))
    return Doubt(f"worked_out_{run.seed_kg:f}", _question(run, pace, hours), "seed_how")


def _question(run: Run, pace: Pace, hours: float) -> str:
    values = {
        "hours": figure(hours, ".4g"),
        "rate": validation.pace_words(pace.rate.kg_per_h),
        "runs": pace.rate.runs,
        "crop": run.crop,
        "press": run.press,
        "seed": mass(run.seed_kg),
        "sizes": " + ".join(_("%(size)s mm") % {"size": figure(float(size), ".4g")} for size in pace.sizes),
    }
    if pace.sizes:
        basis = ngettext(
            "the middle of the last %(runs)s run of %(crop)s on %(press)s with this die (%(sizes)s)",
            "the middle of the last %(runs)s runs of %(crop)s on %(press)s with this die (%(sizes)s)",
            pace.rate.runs,
        )
    else:
        basis = ngettext(
            "the middle of the last %(runs)s run of %(crop)s on %(press)s with whatever die",
            "the middle of the last %(runs)s runs of %(crop)s on %(press)s with whatever die",
            pace.rate.runs,
        )
    return _(
        "Worked out: %(hours)s hours at %(rate)s, %(basis)s, are %(seed)s. It is kept as "
        "worked out and counts in no comparison of speed."
    ) % {**values, "basis": basis % values}


def mass(kg: Decimal) -> str:
    return _("%(mass)s kg") % {"mass": in_language(f"{kg:f}")}


def check(run: Run) -> None:
    """Raise Refused for an unknown value of `seed_how`."""
    if run.seed_how not in SeedHow.values:
        raise Refused(
            _("How the seed is known is one of: %(known)s.") % {"known": ", ".join(SeedHow.values)},
            field="seed_how",
        )
