"""Carrying out imports: claim, check, store, settle. The rows in the database are the queue.

A claim is a conditional UPDATE with a lease, which every step renews. The imported rows and the job's state
"done" are written in one transaction, so that a killed worker leaves all or nothing, and another can retry.
"""

from __future__ import annotations

import dataclasses
import logging
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import DatabaseError, connection
from django.db.models import F
from django.utils import translation
from django.utils.translation import gettext as _

from wearlog.logbook.backups import making
from wearlog.logbook.exchange.importing import ImportCounts, import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, Conflicting
from wearlog.logbook.jobs import reporting, storage
from wearlog.logbook.models import LEASE, UNDER_WAY, ImportJob, ImportState
from wearlog.people.refusals import Refused

MOST_ROWS = 100_000
"""The largest number of rows in one file of an uploaded logbook."""
TRIES = 3
"""How often an import is attempted when its workers die."""
TELL_EVERY_S = 1.0

Clock = Callable[[], datetime]
logger = logging.getLogger(__name__)


class ClaimLost(Exception):
    """The job was cancelled, or another worker has claimed it."""


def claimable(*, at: datetime, asked_before: datetime | None = None) -> list[int]:
    """The ids of jobs that a worker may claim, oldest first."""
    jobs = ImportJob.objects.claimable(at).order_by("asked_at", "pk")
    if asked_before is not None:
        jobs = jobs.filter(asked_at__lt=asked_before)
    return list(jobs.values_list("pk", flat=True))


def carry_out_all(*, clock: Clock, waited: timedelta | None = None) -> int:
    """Carry out the waiting jobs, one after the other; return how many were begun. `waited`: only those
    requested at least that long ago."""
    begun = 0
    at = clock()
    for job_id in claimable(at=at, asked_before=at - waited if waited else None):
        begun += carry_out(job_id=job_id, clock=clock)
    return begun


def carry_out(*, job_id: int, clock: Clock) -> bool:
    """Claim the job and carry it out; False where another worker has it or it has ended. Errors are stored
    with the job; only exceptions that end the process are raised."""
    job = claim(job_id=job_id, at=clock())
    if job is None:
        return False
    held = ClaimedJob(job, clock)
    with translation.override(job.language):
        try:
            check_and_store(job, held)
        except ClaimLost:
            return True
        except (BadLogbook, Conflicting) as bad:
            problems = reporting.problems_of(bad)
            try:
                storage.write(storage.problems(job.file), reporting.as_csv(problems))
            except OSError:
                logger.exception("The list of what is wrong with import %s could not be kept.", job.pk)
            ended = held.settle(
                ImportState.REFUSED, groups=reporting.groups(problems), problems=len(problems)
            )
        except Refused as refused:
            said = refused.message.replace(str(storage.archive(job.file)), job.name)
            ended = held.settle(ImportState.REFUSED, said=said)
        except DatabaseError:
            logger.exception("Import %s has to wait for the database.", job.pk)
            held.give_back()
            return True
        except Exception:
            logger.exception("Import %s broke off.", job.pk)
            said = _("Something in this program went wrong. The log of the server says what.")
            ended = held.settle(ImportState.BROKEN, said=said)
        else:
            ended = True
    if ended:
        storage.delete_files(job.file)
    return True


def claim(*, job_id: int, at: datetime) -> ImportJob | None:
    """Lease the job to the caller and return it; None where it can't be claimed. A job attempted too often is
    marked as failed instead."""
    free = ImportJob.objects.claimable(at).filter(pk=job_id)
    worn_out = free.filter(tries__gte=TRIES).update(
        state=ImportState.BROKEN,
        ended_at=at,
        holder="",
        leased_until=None,
        said=_("It was begun %(number)s times, and ended each time before it was done.") % {"number": TRIES},
    )
    if worn_out:
        return None
    mine = free.update(
        state=ImportState.CHECKING,
        holder=uuid.uuid4().hex,
        leased_until=at + LEASE,
        tries=F("tries") + 1,
        doing="",
        done_rows=0,
        total_rows=0,
    )
    return ImportJob.objects.select_related("by").get(pk=job_id) if mine else None


def check_and_store(job: ImportJob, held: ClaimedJob) -> None:
    """Check the logbook and, unless only a check was requested, store it."""
    source = storage.archive(job.file)
    if not source.is_file():
        raise Refused(_("The file is not on this machine any more. Choose it once more."))
    back_up = making.once_before("import", clock=held.clock)

    def before_storing() -> None:
        held.report_progress(_("making a backup"), 0, 0)
        back_up()  # only now, so that a refused logbook causes no backup
        held.begin_to_store()

    taken = import_logbook(
        by=job.by,
        at=held.clock(),
        source=source,
        name=job.name,
        on_conflict=job.on_conflict,
        dry_run=job.only_check,
        most_rows=MOST_ROWS,
        progress=held.report_progress,
        before_storing=before_storing,
        with_storing=held.store,
    )
    if job.only_check and not held.settle(ImportState.DONE, counts=dataclasses.asdict(taken)):
        raise ClaimLost


class ClaimedJob:
    """A claimed job and the changes that its holder may make while the claim lasts."""

    def __init__(self, job: ImportJob, clock: Clock) -> None:
        self.pk, self.holder, self.clock = job.pk, job.holder, clock
        self.outside = atomic_depth()
        self.told_s = -TELL_EVERY_S

    def change(self, *states: str, **values: object) -> bool:
        mine = ImportJob.objects.filter(pk=self.pk, holder=self.holder, state__in=states)
        return bool(mine.update(**values))

    def report_progress(self, what: str, done: int, total: int) -> None:
        """Store the progress and renew the lease, at most once a second. Raises Gone."""
        now_s = time.monotonic()
        if now_s - self.told_s < TELL_EVERY_S or atomic_depth() != self.outside:
            return  # within the storing transaction nobody would see it
        self.told_s = now_s
        values = {"doing": what[:80], "done_rows": done, "total_rows": total}
        try:
            mine = self.change(
                *UNDER_WAY, state=ImportState.CHECKING, leased_until=self.clock() + LEASE, **values
            )
        except DatabaseError:
            if connection.in_atomic_block:
                raise
            return  # the database is locked by another writer; the lease lasts longer than that
        if not mine:
            raise ClaimLost

    def begin_to_store(self) -> None:
        """Mark the job as storing; from then on it can't be cancelled. Raises Gone."""
        if not self.change(
            ImportState.CHECKING, state=ImportState.STORING, leased_until=self.clock() + LEASE, doing=""
        ):
            raise ClaimLost

    def store(self, taken: ImportCounts) -> None:
        """Mark the job as done, as the last step of the storing transaction. Raises Gone, which rolls it
        back."""
        if not self.settle(ImportState.DONE, counts=dataclasses.asdict(taken)):
            raise ClaimLost

    def settle(self, state: ImportState, **values: object) -> bool:
        return self.change(
            *UNDER_WAY,
            state=state,
            ended_at=self.clock(),
            holder="",
            leased_until=None,
            doing="",
            **values,
        )

    def give_back(self) -> None:
        """Release the job for a retry; if even that can't be written, its lease expires."""
        try:
            self.change(*UNDER_WAY, state=ImportState.WAITING, holder="", leased_until=None)
        except DatabaseError:
            logger.exception("Import %s could not be given back.", self.pk)


def atomic_depth() -> int:
    """How many nested transactions the connection is in."""
    return len(connection.savepoint_ids) + connection.in_atomic_block
