"""Fit a part, take one off, swap two."""

from __future__ import annotations

from datetime import datetime

from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting, Position
from wearlog.lockout.cautions.queries import caution_for_press, cautions_for
from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.service.models import Action
from wearlog.web.log.forms.events import FitForm, SwapForm, TakeOffForm, others_like
from wearlog.web.site import isolations, known
from wearlog.web.site.pages import EntryPage, Form, NothingToShow, number_in, with_query
from wearlog.words.kinds import fitted_part_words


class FittingNew(EntryPage[FitForm, Fitting]):
    """The page of a position: a fitted part can be taken off or swapped; on an empty one a spare can be
    fitted."""

    template_name = "web/log/fit.html"

    def prepare(self) -> None:
        pk = number_in(self.request, "position") or 0
        self.position = get_object_or_404(Position.objects.select_related("press"), pk=pk)
        self.fitting = (
            Fitting.objects.open().filter(position=self.position).select_related("part__part_type").first()
        )
        if self.fitting is not None and self.request.method == "GET":
            raise NothingToShow(HttpResponseRedirect(with_query("web:fitting-end", fitting=self.fitting.pk)))
        self.spares = known.spares_for(self.position)

    def form(self, data: QueryDict | None) -> FitForm:
        return FitForm(data, reader=self.reader, spares=self.spares, initial={"position": self.position.pk})

    def context(self) -> dict[str, object]:
        return {
            "position": self.position,
            "spares": self.spares,
            "caution": caution_for_press(self.position.press_id, Action.REPLACE.value, self.position.kind),
            "isolations": isolations.open_at(self.request.user, [self.position.press_id]),
        }

    def act(self, form: FitForm, now: datetime) -> Fitting:
        part_id, edge = form.chosen_spare()
        assert part_id is not None  # the form asks for it
        return actions.fit(
            by=self.request.user,
            at=now,
            part_id=part_id,
            edge=edge,
            position_id=self.position.pk,
            fitted_at=form.at_or("fitted_at", now),
        )

    def done(self, record: Fitting) -> HttpResponse:
        self.saved(
            _("Fitted: %(part)s on %(position)s.")
            % {"part": fitted_part_words(record.part, record.edge), "position": self.position},
            record,
        )
        return self.back()


class OfFitting(EntryPage[Form, Fitting]):
    """A move of a fitted part. A fitting that has ended in the meantime is refused by the action."""

    def prepare(self) -> None:
        pk = number_in(self.request, "fitting") or 0
        fitting = Fitting.objects.select_related("part__part_type", "position__press").filter(pk=pk).first()
        if fitting is None:
            raise Http404(_("There is no such fitting."))
        self.fitting: Fitting = fitting
        self.others = others_like(fitting)

    def context(self) -> dict[str, object]:
        return {
            "fitting": self.fitting,
            "others": self.others,
            "caution": caution_for_press(
                self.fitting.position.press_id, Action.REPLACE.value, self.fitting.position.kind
            ),
            "isolations": isolations.open_at(
                self.request.user,
                {self.fitting.position.press_id, *(other.position.press_id for other in self.others)},
            ),
        }


class FittingEnd(OfFitting[TakeOffForm]):
    template_name = "web/log/take_off.html"

    def form(self, data: QueryDict | None) -> TakeOffForm:
        return TakeOffForm(data, reader=self.reader, initial={"fitting": self.fitting.pk})

    def act(self, form: TakeOffForm, now: datetime) -> Fitting:
        return actions.take_off(
            by=self.request.user,
            at=now,
            expected_fitting_id=self.fitting.pk,
            removed_at=form.at_or("removed_at", now),
            retired_because=form.text_of("retired_because"),
        )

    def done(self, record: Fitting) -> HttpResponse:
        self.saved(
            _("Taken off: %(part)s from %(position)s.")
            % {"part": fitted_part_words(record.part, record.edge), "position": record.position},
            record,
        )
        return self.back()


class FittingSwap(OfFitting[SwapForm]):
    template_name = "web/log/swap.html"

    def context(self) -> dict[str, object]:
        # Both presses are opened; if they differ, each has its own isolation points.
        others = {other.position.press_id: other.position.press for other in self.others}
        others.pop(self.fitting.position.press_id, None)
        cautions = cautions_for(others)
        return {
            **super().context(),
            "elsewhere": [
                (press, cautions.of(pk, action=Action.REPLACE.value, kind=self.fitting.position.kind))
                for pk, press in others.items()
            ],
        }

    def form(self, data: QueryDict | None) -> SwapForm:
        return SwapForm(data, reader=self.reader, others=self.others, initial={"fitting": self.fitting.pk})

    def act(self, form: SwapForm, now: datetime) -> Fitting:
        first, _second = actions.swap(
            by=self.request.user,
            at=now,
            first_fitting_id=self.fitting.pk,
            second_fitting_id=int(form.text_of("second")),
            moved_at=form.at_or("moved_at", now),
        )
        return first

    def done(self, record: Fitting) -> HttpResponse:
        self.saved(_("Changed places: %(fitting)s.") % {"fitting": record}, record)
        return self.back()


fitting_new = FittingNew.as_page(Permission.LOG)
fitting_end = FittingEnd.as_page(Permission.LOG)
fitting_swap = FittingSwap.as_page(Permission.LOG)
