"""Log work: first choose the part or position, then what was done to it."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting, Position, Press
from wearlog.equipment.queries import next_edge, place_of
from wearlog.forecasts.memory.queries import items_of_press
from wearlog.lockout.cautions.queries import caution_for_press
from wearlog.lockout.cautions.steps import RELEASE
from wearlog.logbook import actions
from wearlog.people.roles import Permission, allows
from wearlog.runs.models import Crop
from wearlog.service.models import Rule, Service
from wearlog.service.offered import FOR_PRESS, actions_for
from wearlog.service.work import MOVES, Action
from wearlog.web.log.forms.work import WorkForm
from wearlog.web.log.views.run import choose_press
from wearlog.web.site import isolations, known
from wearlog.web.site.frames import framed
from wearlog.web.site.pages import EntryPage, NothingToShow, number_in, today, with_query
from wearlog.words.kinds import mark_words
from wearlog.words.records import done_line
from wearlog.words.tasks import work_heading


class WorkNew(EntryPage[WorkForm, Service]):
    template_name = "web/log/work.html"
    replays = Service

    def prepare(self) -> None:
        self.fitting = self._fitting()
        self.position = self._position()
        self.press = self._press()
        self.places = known.places_of(self.press)
        requested = self.request.POST.get("action") or self.request.GET.get("action") or ""
        if self.position is not None and self.fitting is None and self.request.method == "GET":
            self.fitting = next(
                (each.fitting for each in self.places if each.position.pk == self.position.pk), None
            )
        if requested not in Action.values or (requested in MOVES and self.position is None):
            raise NothingToShow(self._choose())
        self.action = Action(requested)
        if self.action in MOVES and self.fitting is None:
            raise NothingToShow(self._choose())
        self.rule = (
            Rule.objects.select_related("yearly_look").filter(pk=number_in(self.request, "rule") or 0).first()
        )
        yearly = self.request.method == "GET" and hasattr(self.rule, "yearly_look")
        if self.rule is not None and yearly and allows(self.request.user, Permission.MAINTAIN):
            page = with_query("web:yearly-record", look=self.rule.yearly_look.pk, press=self.press.pk)
            raise NothingToShow(HttpResponseRedirect(page))
        self.edges = known.edges_of(self.fitting.part) if self.fitting else []
        self.crop = Crop.objects.filter(pk=number_in(self.request, "crop") or 0).first()
        self.spares = (
            known.spares_for(self.position, self.fitting.part if self.fitting else None, self.crop)
            if self.position is not None and self.action == Action.REPLACE
            else []
        )

    def _fitting(self) -> Fitting | None:
        pk = number_in(self.request, "fitting") or 0
        fitting = Fitting.objects.select_related("part__part_type", "position__press").filter(pk=pk).first()
        if fitting is None or self.request.method == "POST":
            return fitting
        if fitting.removed_at is not None or fitting.voided_at is not None:
            if place_of(fitting.part) is None:
                words = (
                    _("%(part)s is retired.")
                    if fitting.part.retired_on is not None
                    else _("%(part)s lies on the shelf. Below stands what comes next when it is fitted.")
                )
                messages.warning(self.request, words % {"part": fitting.part.code})
                raise NothingToShow(HttpResponseRedirect(reverse("web:part", args=[fitting.part_id])))
            messages.warning(
                self.request,
                _("%(part)s no longer sits where that link led. This is what sits on the press now.")
                % {"part": mark_words(fitting.part.code, fitting.edge)},
            )
            raise NothingToShow(self._choose(fitting.position.press))
        found: Fitting = fitting
        return found

    def _position(self) -> Position | None:
        if self.fitting is not None:
            return self.fitting.position
        pk = number_in(self.request, "position") or 0
        return Position.objects.select_related("press").filter(pk=pk).first()

    def _press(self) -> Press:
        if self.position is not None:
            return self.position.press
        presses = known.presses_at_work()
        requested = self.request.POST.get("press") or self.request.GET.get("press") or ""
        press = known.usual_press(self.request.user, presses, requested)
        if press is None:
            raise NothingToShow(choose_press(self.request, _("Log work"), reverse("web:work-new")))
        return press

    def _choose(self, press: Press | None = None) -> HttpResponse:
        """The page to choose from: the fitted parts of the press, and the work offered for each."""
        press = press or self.press
        items = items_of_press(press.pk, as_of=today(self.request))
        places = known.places_of(press)
        return render(
            self.request,
            "web/log/work_choose.html",
            {
                "press": press,
                "presses": known.presses_at_work(),
                "page": reverse("web:work-new"),
                "places": [(place, actions_for(place.position.kind, place.fitting)) for place in places],
                "for_press": FOR_PRESS,
                "due": framed(item for item in items if item.state in ("overdue", "due", "coming")),
                "caution": caution_for_press(press.pk, "", ""),
                "isolations": isolations.open_at(self.request.user, [press.pk]),
                "today": today(self.request),
            },
        )

    def form(self, data: QueryDict | None) -> WorkForm:
        return WorkForm(
            data,
            reader=self.reader,
            action=self.action,
            fitting=self.fitting,
            edges=self.edges,
            next_edge=next_edge(self.fitting) if self.fitting and self.action == Action.FLIP else "",
            spares=self.spares,
            currency=self.request.mill.currency,
            initial={
                "press": self.press.pk,
                "position": self.position.pk if self.position else None,
                "fitting": self.fitting.pk if self.fitting else None,
                "action": self.action,
                "rule": self.rule.pk if self.rule else None,
                "new": self._asked_spare(),
            },
        )

    def _asked_spare(self) -> str | None:
        """The choice of the part that the link names, on the edge to use first; None where it names none."""
        asked = number_in(self.request, "part")
        return next((spare.value for spare in self.spares if spare.part.pk == asked), None)

    def context(self) -> dict[str, object]:
        kind = self.position.kind if self.position else ""
        return {
            "press": self.press,
            "position": self.position,
            "fitting": self.fitting,
            "action": self.action,
            "heading": self._heading(),
            "rule": self.rule,
            "spares": self.spares,
            "crop": self.crop,
            "caution": caution_for_press(self.press.pk, self.action.value, kind),
            "isolations": isolations.open_at(self.request.user, [self.press.pk]),
            "release_steps": RELEASE,
            "release_stated": "release_stated" in self.request.POST,
            "afresh": with_query(
                "web:work-new",
                press=self.press.pk,
                position=self.position.pk if self.position else "",
                action=self.action.value,
                rule=self.rule.pk if self.rule else "",
            ),
            "next": self.request.POST.get("next") or self.request.GET.get("next") or "",
        }

    def _heading(self) -> str:
        if self.fitting is not None:
            part = self.fitting.part
            return work_heading(self.action, kind=part.part_type.kind, part=part.code, edge=self.fitting.edge)
        return work_heading(self.action, position=self.position.name if self.position else "")

    def act(self, form: WorkForm, now: datetime) -> Service:
        entry = form.entry(now=now, by_name=str(self.request.user), fitting=self.fitting)
        return actions.log_work(
            by=self.request.user,
            at=now,
            entry=entry,
            confirmed=form.confirmed,
            release_stated="release_stated" in self.request.POST,
        )

    def done(self, record: Service) -> HttpResponse:
        self.saved(f"{done_line(record)}.", record)
        return self.back()


work_new = WorkNew.as_page(Permission.LOG)
