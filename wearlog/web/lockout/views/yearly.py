"""Yearly inspections and instructions: the records, making the rules, and adding a record."""

from __future__ import annotations

from datetime import datetime
from itertools import groupby

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import ngettext

from wearlog.lockout.cautions.queries import cautions_for
from wearlog.lockout.models import Yearly, YearlyLook
from wearlog.lockout.yearly import looks as yearly
from wearlog.logbook import lockouts
from wearlog.people.roles import Permission
from wearlog.service.models import Action, Service
from wearlog.web.lockout.forms.yearly import YearlyForm
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage, number_in


@needs(Permission.VIEW, to_write=Permission.MAINTAIN)
def looks(request: MillRequest) -> HttpResponse:
    """The last records; POST adds the missing rules."""
    if request.method == "POST":
        made = lockouts.make_yearly_rules(by=request.user, at=timezone.now())
        words = ngettext("Made: %(n)s yearly rule.", "Made: %(n)s yearly rules.", len(made))
        messages.success(request, words % {"n": len(made)})
        return HttpResponseRedirect(reverse("web:yearly"))
    rows = yearly.last_looks()
    return render(
        request,
        "web/lockout/yearly.html",
        {
            "groups": [(look, list(each)) for look, each in groupby(rows, key=lambda row: row.look)],
            "missing": yearly.missing(),
            "kinds": Yearly,
            "caution": cautions_for([]).of(None, action=Action.INSPECT.value, kind=""),
        },
    )


class YearlyRecord(FormPage[YearlyForm, list[Service]]):
    """Record an inspection of procedures or an instruction (`kind`); `look` and `press` in the query prefill
    the form."""

    template_name = "web/lockout/yearly_record.html"

    def prepare(self) -> None:
        look = YearlyLook.objects.filter(pk=number_in(self.request, "look") or 0).first()
        requested = self.request.POST.get("kind") or self.request.GET.get("kind") or ""
        self.kind = Yearly(requested) if requested in Yearly.values else Yearly.PROCEDURE
        self.known: dict[str, object] = {}
        press_id = number_in(self.request, "press")
        if press_id is not None:
            self.known["presses"] = [press_id]
        if look is not None and self.request.method == "GET":
            self.kind = Yearly(look.kind)
            if look.person_id is not None:
                self.known["people"] = [look.person_id]

    def form(self, data: QueryDict | None) -> YearlyForm:
        return YearlyForm(data, reader=self.reader, kind=self.kind, initial=self.known)

    def context(self) -> dict[str, object]:
        press_id = number_in(self.request, "press")
        cautions = cautions_for([press_id] if press_id is not None else [])
        return {"kind": self.kind, "caution": cautions.of(press_id, action=Action.INSPECT.value, kind="")}

    def act(self, form: YearlyForm, now: datetime) -> list[Service]:
        return lockouts.record_yearly_look(
            by=self.request.user,
            at=now,
            kind=self.kind,
            press_ids=[press.pk for press in form.cleaned_data["presses"]],
            done_at=form.at_or("done_at", now),
            looked_by=form.text_of("looked_by"),
            people=list(form.cleaned_data["people"]),
            others=form.text_of("others"),
            finding=form.text_of("finding"),
        )

    def done(self, record: list[Service]) -> HttpResponse:
        words = ngettext("Recorded: %(n)s line of the log.", "Recorded: %(n)s lines of the log.", len(record))
        messages.success(self.request, words % {"n": len(record)})
        return HttpResponseRedirect(reverse("web:yearly"))


record = YearlyRecord.as_page(Permission.MAINTAIN)
