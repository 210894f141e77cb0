"""Many runs on one page: all presses at the end of a shift, or a week of one press's wall sheet."""

from __future__ import annotations

from contextlib import suppress
from datetime import date, time, timedelta

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.logbook.sheets import SheetNotTaken
from wearlog.people.dates import written
from wearlog.people.roles import Permission
from wearlog.runs.models import Run
from wearlog.web.log.forms.sheet import SheetHead, SheetLine
from wearlog.web.log.views.run import by_meter, reading_words, remember_units, usual_units
from wearlog.web.site import known, queued
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import EntryPage, reader_of, today

DAYS = 7
MOST_LINES = 3
USUAL_END = time(18, 0)
WALL_ROWS = 14


class SheetPage(EntryPage[SheetHead, list[Run]]):
    """Lines of runs below common settings. Subclasses define the lines."""

    template_name = "web/log/sheet.html"
    #: Whether a line without a time ended just now.
    ends_now = False

    @property
    def heading(self) -> str:
        raise NotImplementedError

    def lines(self, data: QueryDict | None) -> list[SheetLine]:
        raise NotImplementedError

    def line(
        self,
        data: QueryDict | None,
        prefix: str,
        press: Press,
        before: known.BeforeRun,
        title: str,
        **initial: object,
    ) -> SheetLine:
        crop, reading = before.usual_crop, before.reading
        metered = by_meter(press, reading, before.last_run)
        return SheetLine(
            data,
            prefix=prefix,
            reader=self.reader,
            about=press,
            title=title,
            crops=before.crops,
            by_meter=metered,
            hint=reading_words(reading) if metered else "",
            initial={"crop": crop.pk if crop else None, **initial},
        )

    def get(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        self.prepare()
        head = SheetHead(None, reader=self.reader, initial=usual_units(request))
        return self.page(head, self.lines(None))

    def post(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        self.prepare()
        self.remember_due()
        now = timezone.now()
        head = SheetHead(request.POST, reader=self.reader)
        lines = self.lines(request.POST)
        written = [line for line in lines if not line.is_empty]
        fine = [head.is_valid(), *(line.is_valid() for line in written)]
        if not written:
            head.add_error(None, _("Nothing is written yet. Fill in a line, then save."))
        if not written or not all(fine):
            return self.page(head, lines, status=422)
        entries = [line.entry(head, now=now, by_name=str(request.user)) for line in written]
        ready = [entry for entry in entries if entry is not None]
        if len(ready) < len(entries):
            return self.page(head, lines, status=422)
        confirmed = {line.text_of("ref"): line.confirmed for line in written}
        try:
            runs = actions.log_sheet(by=request.user, at=now, entries=ready, confirmed=confirmed)
        except SheetNotTaken as problem:
            for line in written:
                ref = line.text_of("ref")
                if ref in problem.refused:
                    line.refuse(problem.refused[ref])
                line.ask(problem.doubts.get(ref, ()))
            return self.page(head, lines, status=422 if problem.refused else 200)
        self.say(runs)
        response = self.back()
        remember_units(request, response, head.cleaned_data)
        return response

    def say(self, runs: list[Run]) -> None:
        total = sum((run.seed_kg for run in runs), start=runs[0].seed_kg * 0)
        text = ngettext(
            "Saved: %(count)s run, %(mass)s.", "Saved: %(count)s runs, %(mass)s together.", len(runs)
        )
        mass = units.show_mass(float(total), self.reader.system)
        messages.success(self.request, text % {"count": len(runs), "mass": mass})

    def page(self, head: SheetHead, lines: list[SheetLine], status: int = 200) -> HttpResponse:
        bound = [line for line in lines if line.is_bound and not line.is_empty]
        if queued.is_queued(self.request):
            return queued.problem_of_sheet(head, bound, status)
        summary = (head.summary() if head.is_bound else []) + [
            (target, f"{line.title}. {text}") for line in bound for target, text in line.summary()
        ]
        context = {
            "head": head,
            "lines": lines,
            "summary": summary,
            "took": self.request.POST.get(queued.NAME_FIELD, ""),
            "now_lines": self.ends_now,
            "asking": any(line.doubts for line in lines),
            "heading": self.heading,
            "unmended": {line.prefix for line in bound if line.errors},
            **self.context(),
        }
        return render(self.request, self.template_name, context, status=status)


class ShiftSheet(SheetPage):
    """One line for each press in service; a run without a time ended just now."""

    ends_now = True

    @property
    def heading(self) -> str:
        return _("All presses at once")

    def lines(self, data: QueryDict | None) -> list[SheetLine]:
        day, presses = today(self.request), known.presses_at_work()
        before = known.before_runs(presses)
        return [
            self.line(data, f"press{press.pk}", press, before[press.pk], press.name or press.code, day=day)
            for press in presses
        ]

    def context(self) -> dict[str, object]:
        return {
            "first_column": _("Press"),
            "help": _(
                "Leave out what did not run. Until: empty is just now. "
                "Seed: ~400 is about 400, ? is not known."
            ),
        }


class WeekSheet(SheetPage):
    """Lines for the seven days of a week at one press."""

    def prepare(self) -> None:
        self.press = get_object_or_404(Press, pk=self.kwargs["pk"], retired_on__isnull=True)
        self.first = self.first_day()
        requested = self.request.GET.get("lines", "1")
        self.per_day = int(requested) if requested in {str(n) for n in range(1, MOST_LINES + 1)} else 1

    def first_day(self) -> date:
        """Monday of the week in the query, else of the present one."""
        day = today(self.request)
        with suppress(ValueError):
            day = date.fromisoformat(self.request.GET.get("from", ""))
        day = min(max(day, date(1950, 1, 9)), date(2150, 1, 1))
        return day - timedelta(days=day.weekday())

    @property
    def heading(self) -> str:
        return _("A week at %(press)s") % {"press": self.press.name or self.press.code}

    def lines(self, data: QueryDict | None) -> list[SheetLine]:
        before = known.before_run(self.press)
        ended = before.last_run.ends_at if before.last_run is not None else None
        usual = USUAL_END if ended is None else timezone.localtime(ended, self.reader.zone).time()
        end = usual.replace(second=0, microsecond=0)
        found = []
        for number in range(DAYS * self.per_day):
            day = self.first + timedelta(days=number // self.per_day)
            until = end if number % self.per_day == self.per_day - 1 else None
            title = written(day, "D j M")
            found.append(self.line(data, f"line{number}", self.press, before, title, day=day, until=until))
        return found

    def context(self) -> dict[str, object]:
        week = timedelta(days=DAYS)
        return {
            "first_column": _("Day"),
            "help": _(
                "Leave empty what did not run. Until is the time at which the run ended. "
                "Seed: ~400 is about 400, ? is not known."
            ),
            "press": self.press,
            "earlier": self.page_of(self.first - week, self.per_day),
            "later": self.page_of(self.first + week, self.per_day),
            "more_lines": [(n, self.page_of(self.first, n)) for n in range(1, MOST_LINES + 1)],
            "per_day": self.per_day,
        }

    def page_of(self, first: date, lines: int) -> str:
        query = {"from": first.isoformat(), "lines": lines}
        return (
            reverse("web:week", args=[self.press.pk]) + "?" + "&".join(f"{k}={v}" for k, v in query.items())
        )


@needs(Permission.VIEW)
def wall_sheet(request: MillRequest, pk: int) -> HttpResponse:
    """A sheet to hang beside the press and fill in by pencil; typed up on the week's page."""
    press = get_object_or_404(Press, pk=pk)
    places = known.places_of(press)
    return render(
        request,
        "web/log/wall_sheet.html",
        {
            "press": press,
            "fitted": [place for place in places if place.fitting and place.is_wear_part],
            "rows": range(WALL_ROWS),
            "points": [source.source for source in press.energy_sources.order_by("source")],
            "mass_unit": reader_of(request).mass_unit,
        },
    )


shift = ShiftSheet.as_page(Permission.LOG)
week = WeekSheet.as_page(Permission.LOG)
