"""Change the crop: die, purge, cleaning and signature on one page, in one entry."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.http import HttpResponse, QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from wearlog.calc import units
from wearlog.equipment.models import Kind
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.lockout.cautions.queries import caution_for_press
from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.runs.models import Crop, PlanEntry
from wearlog.service.models import Action, CropChange, Service
from wearlog.web.log import dies
from wearlog.web.log.forms.crop_change import CropChangeForm, DiePlace
from wearlog.web.log.views.events import AtPress
from wearlog.web.log.views.run import ask_about_dies
from wearlog.web.site import isolations, known
from wearlog.web.site.pages import number_in, today
from wearlog.words.days import day_words


class CropChangeNew(AtPress[CropChangeForm, CropChange]):
    template_name = "web/log/crop_change.html"
    heading = gettext_noop("Change the crop")
    page = "web:crop-change-new"
    replays = Service

    def prepare(self) -> None:
        super().prepare()
        self.day = today(self.request)
        self.before = known.before_run(self.press, with_readings=False)
        now_in = self.before.next_crop
        self.crops = [crop for crop in self.before.crops if now_in is None or crop.pk != now_in.pk]
        self.now_in = now_in
        self.plan = list(
            PlanEntry.objects.filter(press=self.press, end_on__gte=self.day, seed_kg__gt=0)
            .select_related("crop")
            .order_by("start_on", "pk")
        )
        asked = number_in(self.request, "to") if self.request.method == "GET" else None
        ahead = [entry.crop for entry in self.plan if entry.crop in self.crops]
        wanted = [crop for crop in self.crops if crop.pk == asked]
        self.proposed: Crop | None = next(iter([*wanted, *ahead]), None)
        self.edges = forecast_of_day(as_of=self.day).edges
        planned: dict[int, float] = {}
        for entry in self.plan:
            planned.setdefault(entry.crop_id, float(entry.seed_kg))
        places = [place for place in self.places if place.position.kind == Kind.DIE]
        spares = known.spares_for(places[0].position, used=self.edges.used.keys()) if places else []
        self.die_places = [
            DiePlace(
                place,
                dies.choices_at(
                    place,
                    spares=spares,
                    edges=self.edges,
                    crops=self.crops,
                    planned=planned,
                    reader=self.reader,
                ),
            )
            for place in places
        ]

    def form(self, data: QueryDict | None) -> CropChangeForm:
        return CropChangeForm(
            data,
            reader=self.reader,
            crops=self.crops,
            all_crops=sorted(self.before.crops, key=lambda crop: crop.code),
            proposed=self.proposed,
            die_places=self.die_places,
            screws=[
                place
                for place in self.places
                if place.position.kind == Kind.SCREW and place.fitting is not None
            ],
            initial={
                "press": self.press.pk,
                "asks": "cleaned",
                "from_crop": self.now_in.pk if self.now_in else None,
                **self.last_purge(),
                "signed_by": str(self.request.user),
            },
        )

    def last_purge(self) -> dict[str, Decimal | None]:
        """Seed and time of the last purge, by the names of the form's fields."""
        last = self.before.last_change
        return {} if last is None else {"purge_kg": last.purge_kg, "purge_h": last.purge_h}

    def plan_words(self) -> str:
        """`Next in the plan: 5 t until Wed 9 Dec.`, of the proposed crop; empty where nothing is planned."""
        entry = next((entry for entry in self.plan if entry.crop == self.proposed), None)
        if entry is None:
            return ""
        return _("In the plan: %(seed)s of %(crop)s until %(day)s.") % {
            "seed": units.show_mass(entry.seed_kg, self.reader.system),
            "crop": entry.crop,
            "day": day_words(entry.end_on, self.day),
        }

    def context(self) -> dict[str, object]:
        return {
            **super().context(),
            "now_in": self.now_in,
            "plan_words": self.plan_words(),
            "as_last_time": any(each is not None for each in self.last_purge().values()),
            "ends": [
                dies.leaves(each.place.fitting, self.edges, self.reader)
                for each in self.die_places
                if each.place.fitting is not None
            ],
            "other_crops": [crop for crop in self.crops if crop != self.proposed] if self.die_places else [],
            "caution": caution_for_press(self.press.pk, Action.REPLACE.value, Kind.DIE.value),
            "isolations": isolations.open_at(self.request.user, [self.press.pk]),
            "today": self.day,
        }

    def act(self, form: CropChangeForm, now: datetime) -> CropChange:
        entry = form.entry(press=self.press, now=now)
        return actions.record_crop_change(by=self.request.user, at=now, entry=entry, confirmed=form.confirmed)

    def done(self, record: CropChange) -> HttpResponse:
        self.saved(
            _("Cleaned for %(crop)s, signed by %(name)s.")
            % {"crop": record.to_crop, "name": record.signed_by},
            record.service,
        )
        ask_about_dies(self.request, known.places_of(self.press), record.to_crop, self.reader.system)
        return self.back()


crop_change_new = CropChangeNew.as_page(Permission.LOG)
