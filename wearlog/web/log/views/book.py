"""The whole log, one record with its history, correcting it and voiding it."""

from __future__ import annotations

from datetime import date, datetime
from itertools import groupby
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.logbook.corrections import may_change
from wearlog.people.models import LogRecord, User
from wearlog.people.roles import Permission
from wearlog.runs import hours
from wearlog.runs.models import Run
from wearlog.service.photos import COLUMN
from wearlog.web.log.forms.corrections import CorrectionForm, VoidForm
from wearlog.web.log.views.lines import Cursor, Filter, line_of, lines_of, newest
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.history import Change, changes_of, refuse_if_written, related_to, times_written
from wearlog.web.site.pages import Form, FormPage, number_in, reader_of
from wearlog.web.site.records import KINDS
from wearlog.words.hours import source_of


def day_in(request: MillRequest, name: str) -> date | None:
    try:
        return date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return None


@needs(Permission.VIEW)
def log(request: MillRequest) -> HttpResponse:
    """All records, newest first, a page at a time."""
    kind = request.GET.get("kind", "")
    wanted = Filter(
        press_id=number_in(request, "press"),
        kind=kind if kind in KINDS else "",
        first=day_in(request, "first"),
        last=day_in(request, "last"),
    )
    reader = reader_of(request)
    records, below = newest(wanted, Cursor.read(request.GET.get("below", "")), reader.zone)
    lines = lines_of(records, reader.system)
    requested = {
        "press": wanted.press_id,
        "kind": wanted.kind,
        "first": wanted.first,
        "last": wanted.last,
    }
    query = {name: value for name, value in requested.items() if value}
    return render(
        request,
        "web/log/book.html",
        {
            "days": [
                (day, list(group))
                for day, group in groupby(lines, key=lambda line: line.when.astimezone(reader.zone).date())
            ],
            "presses": Press.objects.all(),
            "kinds": KINDS.values(),
            "wanted": wanted,
            "older": f"?{urlencode({**query, 'below': str(below)})}" if below else "",
            "newest": f"?{urlencode(query)}" if "below" in request.GET else "",
            "filtered": bool(query),
        },
    )


def record_or_404(kind: str, pk: int) -> LogRecord:
    if kind not in KINDS:
        raise Http404(_("There is no such kind of record."))
    found = KINDS[kind].model._default_manager.select_related(*KINDS[kind].related).filter(pk=pk).first()
    if not isinstance(found, LogRecord):
        raise Http404(_("There is no such record."))
    return found


@needs(Permission.VIEW)
def record(request: MillRequest, kind: str, pk: int) -> HttpResponse:
    """One record and its history."""
    found = record_or_404(kind, pk)
    reader = reader_of(request)
    pressed = hours.of_run(found) if isinstance(found, Run) and found.voided_at is None else None
    said = [] if pressed is None else source_of(pressed, reader.system, reader.zone)
    return render(
        request,
        "web/log/record.html",
        {
            "line": lines_of([found], reader.system)[0],
            "hours": pressed,
            "hours_words": said,
            "takes_photos": type(found) in COLUMN,
            "record": found,
            "changes": changes_of(found, reader),
            "related": related_to(found, reader),
            "may_change": isinstance(request.user, User)
            and may_change(request.user, found, at=timezone.now()),
        },
    )


GOES_WITH = {
    "run": gettext_lazy("The meter reading at its end is crossed out with it."),
    "work": gettext_lazy(
        "Its gauges are crossed out with it, and a flip or replacement is taken back: what sat there before "
        "goes on as if it had never been moved."
    ),
    "fitting": gettext_lazy(
        "The flip, replacement or swap that began it is taken back: what sat there before goes on as if it "
        "had never been moved."
    ),
    "incident": gettext_lazy("A lot that it holds is released by your name; only a maintainer may do that."),
}


class OfRecord(FormPage[Form, LogRecord]):
    def prepare(self) -> None:
        self.record = record_or_404(self.kwargs["kind"], self.kwargs["pk"])
        self.seen = times_written(self.record)

    def context(self) -> dict[str, object]:
        return {
            "line": line_of(self.record, self.reader.system),
            "record": self.record,
            "kind": self.kwargs["kind"],
            "may_change": may_change(self.request.user, self.record, at=timezone.now()),
        }

    def done(self, record: LogRecord) -> HttpResponse:
        return HttpResponseRedirect(reverse("web:record", kwargs=self.kwargs))


class Correct(OfRecord[CorrectionForm]):
    template_name = "web/log/correct.html"

    def form(self, data: QueryDict | None) -> CorrectionForm:
        form = CorrectionForm(data, reader=self.reader, record=self.record, seen=self.seen)
        if data is None:
            form.propose("value_mm", self.request.GET.get("value_mm", ""))
        return form

    def context(self) -> dict[str, object]:
        history: list[Change] = changes_of(self.record, self.reader)
        return {**super().context(), "changes": history[-3:]}

    def act(self, form: CorrectionForm, now: datetime) -> LogRecord:
        refuse_if_written(self.seen, since=form.cleaned_data.get("seen"))
        changes = form.changes()
        return actions.correct(
            by=self.request.user,
            at=now,
            record=self.record,
            changes=changes,
            reason=form.text_of("reason"),
            confirmed=form.confirmed,
            seen={name: getattr(self.record, name) for name in changes},
        )

    def done(self, record: LogRecord) -> HttpResponse:
        messages.success(self.request, _("Corrected. The old values and your reason are kept."))
        return super().done(record)


class Void(OfRecord[VoidForm]):
    template_name = "web/log/void.html"

    def form(self, data: QueryDict | None) -> VoidForm:
        return VoidForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {**super().context(), "goes_with_it": GOES_WITH.get(self.kwargs["kind"], "")}

    def act(self, form: VoidForm, now: datetime) -> LogRecord:
        return actions.void(by=self.request.user, at=now, record=self.record, reason=form.text_of("reason"))

    def done(self, record: LogRecord) -> HttpResponse:
        messages.success(self.request, _("Crossed out. It stays readable and counts no more."))
        return super().done(record)


correct = Correct.as_page(Permission.LOG)
void = Void.as_page(Permission.LOG)
