"""Take a logbook in from a .zip, and give everything out as one."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from wearlog.logbook.backups import making
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import Taken, import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, Conflicting
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission
from wearlog.web.access import needs
from wearlog.web.forms.people import ImportForm
from wearlog.web.views.log_door import FormPage
from wearlog.web.views.manage_people import signed_in

MOST_BYTES = 50 * 1024 * 1024
SHOWN = 500


class Exchange(FormPage):
    """Checking stores nothing and says what importing would do."""

    template_name = "web/manage_exchange.html"
    problems: Sequence[str] = ()

    def form(self, data: Any) -> ImportForm:
        return ImportForm(data, self.request.FILES or None, reader=self.reader)

    def context(self) -> dict[str, Any]:
        return {
            "problems": [str(problem) for problem in self.problems[:SHOWN]],
            "more_problems": max(0, len(self.problems) - SHOWN),
        }

    def act(self, form: ImportForm, now: datetime) -> Taken:
        upload = form.cleaned_data["file"]
        if upload.size > MOST_BYTES:
            raise Refused(_("This file is larger than 50 MB. Import it on the command line."), field="file")
        if not form.dry_run:
            making.before("import", at=now)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "upload.zip"
            with path.open("wb") as stream:
                for chunk in upload.chunks():
                    stream.write(chunk)
            try:
                return import_logbook(
                    by=self.request.user,
                    at=now,
                    source=path,
                    on_conflict=form.cleaned_data.get("on_conflict") or "",
                    dry_run=form.dry_run,
                )
            except (BadLogbook, Conflicting) as bad:
                self.problems = [str(row) for row in problems_of(bad)]
                words = _("Nothing was stored. What is wrong is listed below: %(number)s lines.")
                raise Refused(words % {"number": len(self.problems)}, field="file") from bad

    def done(self, record: Taken) -> HttpResponse:
        counts = _(
            "%(new)s new, %(filled)s filled in, %(replaced)s replaced, %(kept)s kept as they were, "
            "%(same)s the same as here."
        ) % {
            "new": record.new,
            "filled": record.filled,
            "replaced": record.replaced,
            "kept": record.kept,
            "same": record.same,
        }
        if "store" in self.request.POST:
            messages.success(self.request, _("Imported: %s") % counts)
        else:
            messages.info(
                self.request, _("Checked, nothing is stored yet. Importing it would give: %s") % counts
            )
        return HttpResponseRedirect(reverse("web:exchange"))


def problems_of(bad: BadLogbook | Conflicting) -> Sequence[object]:
    return bad.rows if isinstance(bad, BadLogbook) else bad.conflicts


@require_safe
def _export(request: HttpRequest) -> HttpResponse:
    """The canonical logbook as a .zip. Reads only."""
    user = signed_in(request)
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
export = needs(Permission.OWN)(_export)
