"""Requesting and cancelling an import."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.logbook import tasks
from wearlog.logbook.exchange.files import unpacked_bytes
from wearlog.logbook.exchange.problems import Unreadable
from wearlog.logbook.jobs import running, storage
from wearlog.logbook.models import ENDED, ImportJob, ImportState
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require

SMALL_BYTES = 400_000
"""A logbook that unpacks to less is imported during the request, within a second or two."""
KEPT = timedelta(days=90)
"""How long the result of an import is kept."""


def request_import(
    *,
    by: User,
    at: datetime,
    name: str,
    upload: Iterable[bytes],
    on_conflict: str,
    only_check: bool,
    language: str,
    clock: Callable[[], datetime],
) -> ImportJob:
    """Store the uploaded archive and create the job; a small one is carried out at once, any other by a
    worker. `name` is the file's name on the person's device; `clock` gives the time while a small one is
    carried out. Raises Unreadable where the upload is no archive, or exceeds the limit for pages."""
    require(by, Permission.OWN)
    try:
        file = storage.store_upload(upload)
    except OSError as error:
        raise Refused(
            _("The disk of this machine would not take the file (%(reason)s). Have room made there first.")
            % {"reason": error.strerror or error},
            field="file",
        ) from error
    try:
        small = unpacked_bytes(storage.archive(file)) <= SMALL_BYTES
    except Unreadable as error:
        storage.delete_files(file)
        raise Unreadable(with_upload_name(error.message, file, name), field="file") from error
    with transaction.atomic():
        job = ImportJob.objects.create(
            file=file,
            name=name[-255:],
            only_check=only_check,
            on_conflict=on_conflict,
            by=by,
            language=language,
            asked_at=at,
        )
        audit.write(at=at, by=by, action="check file" if only_check else "ask for import", record=job)
        if not small:
            transaction.on_commit(tasks.wake, robust=True)
    forget_old(at=at)
    if small:
        running.carry_out(job_id=job.pk, clock=clock)
        job.refresh_from_db()
    return job


def with_upload_name(message: str, file: str, name: str) -> str:
    """The message with the stored file's name replaced by the name that the person knows."""
    return message.replace(str(storage.archive(file)), name)


def cancel_import(*, by: User, at: datetime, job_id: int) -> ImportJob:
    """Cancel an import unless it is already storing; its worker stops at its next step. Raises Refused."""
    require(by, Permission.OWN)
    job = ImportJob.objects.get(pk=job_id)
    with transaction.atomic():
        open_states = (ImportState.WAITING, ImportState.CHECKING)
        taken_back = ImportJob.objects.filter(pk=job_id, state__in=open_states).update(
            state=ImportState.CANCELLED, ended_at=at, holder="", leased_until=None
        )
        if not taken_back:
            raise Refused(_("It is too late to cancel this import: it is being stored, or has ended."))
        audit.write(at=at, by=by, action="cancel import", record=job)
    storage.delete_files(job.file)
    job.refresh_from_db()
    return job


def forget_old(*, at: datetime) -> None:
    """Delete old import jobs with their files."""
    for job in ImportJob.objects.filter(state__in=ENDED, ended_at__lt=at - KEPT):
        storage.delete_files(job.file, problems_too=True)
        job.delete()
