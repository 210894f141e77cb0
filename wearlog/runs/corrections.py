"""Correcting and voiding runs and readings. A run logged by the meter owns the reading at its end."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.words import when
from wearlog.runs import actions, queries, readings
from wearlog.runs.models import Reading, Run


@transaction.atomic
def correct_run(
    *,
    by: User | None,
    at: datetime,
    run: Run,
    changes: Mapping[str, object],
    reason: str,
    confirmed: Collection[str],
) -> None:
    """Change a run and validate it like a new one. The reading at its end moves with the end. Raises Refused
    and Doubtful."""
    _lock_presses(run.press_id, changes)
    old, reading = audit.snapshot(run), own_reading(run)
    for name, value in changes.items():
        setattr(run, name, value)
    run.derive()
    if reading is not None and (reading.read_at, reading.press_id) != (run.ends_at, run.press_id):
        before = audit.snapshot(reading)
        if run.ended_at is None:
            raise Refused(
                _("This run was logged by the meter and needs its end. Give the end, or cross the run out."),
                field="ended_at",
            )
        reading.read_at, reading.press = run.ended_at, run.press
        readings.recheck(reading, at=at, confirmed=confirmed)
        reading.save()
        audit.write(
            at=at,
            by=by,
            action="correct",
            record=reading,
            old=before,
            new=audit.snapshot(reading),
            reason=reason,
        )
    actions.recheck(run, at=at, confirmed=confirmed)
    run.save()
    audit.write(at=at, by=by, action="correct", record=run, old=old, new=audit.snapshot(run), reason=reason)


@transaction.atomic
def correct_reading(
    *,
    by: User | None,
    at: datetime,
    reading: Reading,
    changes: Mapping[str, object],
    reason: str,
    confirmed: Collection[str],
) -> None:
    """Change a reading and validate it like a new one. A reading from which a run takes its hours can't be
    moved away from the run's end. Raises Refused and Doubtful."""
    _lock_presses(reading.press_id, changes)
    run = run_of(reading)
    if run is not None and ("read_at" in changes or "press" in changes):
        raise Refused(
            _(
                "This reading was taken at the end of run %(ref)s (%(when)s) and gives it its "
                "hours. Correct the end or the press of that run; the reading moves with it."
            )
            % {"ref": run.ref, "when": when(reading.read_at)},
            field="read_at",
        )
    old = audit.snapshot(reading)
    for name, value in changes.items():
        setattr(reading, name, value)
    readings.recheck(reading, at=at, confirmed=confirmed)
    reading.save()
    audit.write(
        at=at, by=by, action="correct", record=reading, old=old, new=audit.snapshot(reading), reason=reason
    )


@transaction.atomic
def void_run(*, by: User | None, at: datetime, run: Run, reason: str) -> None:
    """Void a run, and its reading if no other run needs that."""
    readings.locked_press(run.press_id)
    reading = own_reading(run)
    audit.strike_out(by=by, at=at, record=run, reason=reason)
    if reading is not None:
        audit.strike_out(by=by, at=at, record=reading, reason=reason)


@transaction.atomic
def exchange_presses(*, by: User | None, at: datetime, run_ids: Collection[int], reason: str) -> None:
    """Give the runs of two presses each to the other one, all at once, since either half alone might overlap
    what stands there. Raises Refused."""
    presses = sorted(set(Run.objects.filter(pk__in=run_ids).values_list("press_id", flat=True)))
    if len(presses) != 2:
        raise Refused(_("These runs are not of two presses any more. Open the page again."))
    for press_id in presses:
        readings.locked_press(press_id)
    found = list(Run.objects.not_voided().filter(pk__in=run_ids).order_by("pk"))
    if len(found) != len(set(run_ids)) or any(run.ends_at is None for run in found):
        raise Refused(_("One of these runs was crossed out or goes on. Open the page again."))
    if any(run.through or own_reading(run) is not None for run in found):
        raise Refused(
            _(
                "One of these runs went through one barrel of a twin or ends with a meter reading, which the "
                "other press doesn't have. Correct the runs one by one."
            )
        )
    old = {run.pk: audit.snapshot(run) for run in found}
    # Out of each other's way while they change places; nobody sees this before the whole is stored.
    Run.objects.filter(pk__in=run_ids).update(voided_at=at)
    for run in found:
        run.press_id = presses[1] if run.press_id == presses[0] else presses[0]
        run.derive()
        actions.recheck_moved(run)
        run.save()
        audit.write(
            at=at,
            by=by,
            action="correct",
            record=run,
            old=old[run.pk],
            new=audit.snapshot(run),
            reason=reason,
        )


def own_reading(run: Run) -> Reading | None:
    """The reading at the end of a run logged by the meter, unless another run ends with it too; else None."""
    reading = queries.reading_at_end(run)
    if reading is None:
        return None
    shared = (
        Run.objects.not_voided()
        .filter(press_id=run.press_id, ends_at=run.ends_at, hours_h__isnull=True)
        .exclude(pk=run.pk)
        .exists()
    )
    return None if shared else reading


def run_of(reading: Reading) -> Run | None:
    """The run that takes its hours from the reading, or None."""
    run: Run | None = (
        Run.objects.not_voided()
        .filter(press_id=reading.press_id, ends_at=reading.read_at, hours_h__isnull=True)
        .first()
    )
    return run


def _lock_presses(press_id: int, changes: Mapping[str, object]) -> None:
    keys = {press_id, getattr(changes.get("press"), "pk", press_id)}
    for key in sorted(keys):
        readings.locked_press(key)
