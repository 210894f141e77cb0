"""Import a logbook from a .zip, and export everything as one."""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.jobs import storage
from wearlog.logbook.jobs.requesting import cancel_import, request_import
from wearlog.logbook.models import ImportJob, ImportState
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission
from wearlog.people.words import when
from wearlog.web.setup.forms.people import ImportForm
from wearlog.web.setup.things import Row, present_words
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage

MOST_BYTES = 50 * 1024 * 1024
LATEST = 5
MOST_GROUPS = 12
"""How many groups of problems are shown: about a screen. The file has them all."""


class Exchange(FormPage[ImportForm, ImportJob]):
    """Create a job to check or import a logbook; the next page shows its progress."""

    template_name = "web/setup/exchange.html"

    def form(self, data: QueryDict | None) -> ImportForm:
        return ImportForm(data, files=self.request.FILES or None, reader=self.reader)

    def context(self) -> dict[str, object]:
        latest = ImportJob.objects.select_related("by")[:LATEST]
        return {"jobs": [line_of(job, self.reader.zone) for job in latest]}

    def act(self, form: ImportForm, now: datetime) -> ImportJob:
        upload = form.cleaned_data["file"]
        if upload.size > MOST_BYTES:
            raise Refused(_("This file is larger than 50 MB. Import it on the command line."), field="file")
        return request_import(
            by=self.request.user,
            at=now,
            name=upload.name,
            upload=upload.chunks(),
            on_conflict=form.cleaned_data.get("on_conflict") or "",
            only_check=form.dry_run,
            language=get_language() or "",
            clock=timezone.now,
        )

    def done(self, record: ImportJob) -> HttpResponse:
        return HttpResponseRedirect(reverse("web:import-job", kwargs={"pk": record.pk}))


def line_of(job: ImportJob, zone: ZoneInfo) -> Row:
    return Row(
        title=job.name,
        url=reverse("web:import-job", kwargs={"pk": job.pk}),
        words=present_words(
            _("to be checked only") if job.only_check else "",
            ImportState(job.state).label,
            str(job.by),
            when(job.asked_at, zone),
        ),
        faded=job.has_ended,
    )


def counted(job: ImportJob) -> str:
    """What was stored, or would be, in words."""
    if job.counts is None:
        return ""
    counts = (
        _(
            "%(new)s new, %(filled)s filled in, %(replaced)s replaced, %(kept)s kept as they were, "
            "%(same)s the same as here."
        )
        % job.counts
    )
    if job.only_check:
        return str(_("Checked, nothing is stored yet. Importing it would give: %s") % counts)
    return str(_("Imported: %s") % counts)


def _import_job(request: MillRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(ImportJob.objects.select_related("by"), pk=pk)
    return show_job(request, job)


def show_job(request: MillRequest, job: ImportJob, refused: str = "", status: int = 200) -> HttpResponse:
    groups = [{**group, "more": group["count"] - len(group["first"])} for group in job.groups[:MOST_GROUPS]]
    return render(
        request,
        "web/setup/import.html",
        {
            "job": job,
            "state": ImportState(job.state).label,
            "counted": counted(job),
            "groups": groups,
            "more_groups": len(job.groups) - len(groups),
            "listed": storage.problems(job.file).is_file() if job.problems else False,
            "refused": refused,
        },
        status=status,
    )


def _import_cancel(request: MillRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(ImportJob, pk=pk)
    try:
        cancel_import(by=request.user, at=timezone.now(), job_id=job.pk)
    except NotAllowed:
        raise
    except Refused as refused:
        job.refresh_from_db()
        return show_job(request, job, refused=refused.message, status=409)
    messages.success(request, _("The import was cancelled. Nothing was stored."))
    return HttpResponseRedirect(reverse("web:import-job", kwargs={"pk": job.pk}))


@require_safe
def _import_problems(request: MillRequest, pk: int) -> HttpResponse:
    """All problems of the logbook, as a file."""
    job = get_object_or_404(ImportJob, pk=pk)
    try:
        content = storage.problems(job.file).read_bytes()
    except OSError as error:
        raise Http404(_("This list is not kept any more. Check the logbook again.")) from error
    return HttpResponse(
        content,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="import-{job.pk}-problems.csv"'},
    )


@require_safe
def _export(request: MillRequest) -> HttpResponse:
    """The canonical logbook as a .zip. Reads only."""
    user = request.user
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.zip"
        try:
            export_logbook(by=user, target=path)
        except Refused as refused:
            raise PermissionDenied(refused.message) from refused
        content = path.read_bytes()
    day = timezone.localdate().isoformat()
    return HttpResponse(
        content,
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="logbook-{day}.zip"'},
    )


exchange = Exchange.as_page(Permission.OWN)
import_job = needs(Permission.OWN)(require_safe(_import_job))
import_cancel = needs(Permission.OWN)(require_POST(_import_cancel))
import_problems = needs(Permission.OWN)(_import_problems)
export = needs(Permission.OWN)(_export)
