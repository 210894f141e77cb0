"""Log a run, start one, stop one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation

from django.contrib import messages
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import HoursFrom, Kind, Press
from wearlog.logbook import actions
from wearlog.people.roles import Permission, allows
from wearlog.people.words import day as in_figures
from wearlog.people.words import in_language
from wearlog.runs import hours
from wearlog.runs.models import Crop, Reading, Run, SeedHow
from wearlog.service.models import Action
from wearlog.web.log.forms.run import RunForm, RunStopForm
from wearlog.web.log.uncounted import tell_of_uncounted_wear
from wearlog.web.site import known
from wearlog.web.site.access import MillRequest
from wearlog.web.site.pages import EntryPage, NothingToShow, with_query
from wearlog.words.records import seed_words

YEAR = 60 * 60 * 24 * 365
MOST_BAGS = 30
"""For how many crops the weight of a bag is remembered."""


def choose_press(request: MillRequest, heading: str, page: str, keep: str = "") -> HttpResponse:
    """The page that asks for the press: one big button for each."""
    return render(
        request,
        "web/log/press.html",
        {
            "heading": heading,
            "presses": known.presses_at_work(),
            "page": page,
            "keep": keep,
            "may_add": allows(request.user, Permission.MAINTAIN),
        },
    )


def by_meter(press: Press, reading: Reading | None, run: Run | None) -> bool:
    """Whether to log a run by the hour meter: as the press's last run was, else as the press is set up."""
    if run is not None:
        return run.hours_h is None and reading is not None
    return reading is not None or press.hours_from == HoursFrom.METER


def reading_words(reading: Reading | None) -> str:
    if reading is None:
        return ""
    read_at = timezone.localtime(reading.read_at)
    return _("Last: %(hours)s on %(day)s.") % {
        "hours": in_language(units.plain(reading.meter_h)),
        "day": f"{in_figures(read_at)} {read_at:%H:%M}",
    }


def usual_units(request: MillRequest, crop: Crop | None = None) -> dict[str, object]:
    """The seed unit that this person last used on this device, and the weight of a bag: the one last typed
    for the crop, else, where none was typed for any crop, the last one."""
    code, last, _by_crop = remembered(request)
    by_crop = bags_of(request, [crop] if crop else [])
    initial: dict[str, object] = {"bag": last if crop is None or not by_crop else by_crop.get(crop.pk)}
    if code in units.KG or code in ("bag", "bushel"):
        initial["seed_unit"] = code
    return initial


def remembered(request: MillRequest) -> tuple[str, Decimal | None, dict[int, Decimal]]:
    """The unit, the last weight of a bag, and the last one of each crop (by primary key), in kg, as they
    stand in this device's cookie: `bag:25:3=25|7=20`."""
    code, weight, crops = (*request.COOKIES.get(cookie_name(request), "").split(":"), "", "", "")[:3]
    by_crop = {}
    for pair in crops.split("|"):
        pk, _equals, kg = pair.partition("=")
        own = weight_in(kg)
        if pk.isdecimal() and own is not None:
            by_crop[int(pk)] = own
    return code, weight_in(weight), by_crop


def bags_of(request: MillRequest, crops: Iterable[Crop]) -> dict[int, Decimal]:
    """What a bag weighs, by the primary key of its crop, in kg: as the mill has it, else this device."""
    return {**remembered(request)[2], **{crop.pk: crop.bag_kg for crop in crops if crop.bag_kg is not None}}


def weight_in(text: str) -> Decimal | None:
    try:
        weight = Decimal(text) if text else None
    except InvalidOperation:
        return None
    return weight if weight is not None and weight.is_finite() else None


def cookie_name(request: MillRequest) -> str:
    return f"seed-unit-{request.user.pk}"


def remember_units(
    request: MillRequest, response: HttpResponse, cleaned: Mapping[str, object], crop: Crop | None = None
) -> None:
    """Keep the unit, and the weight of a bag for the crop where seed was counted in bags."""
    bag = cleaned.get("bag")
    weight = units.plain(bag) if isinstance(bag, Decimal) and bag else ""
    by_crop = remembered(request)[2]
    if crop is not None and isinstance(bag, Decimal) and bag and cleaned.get("seed_unit") == "bag":
        by_crop.pop(crop.pk, None)
        by_crop[crop.pk] = bag
    crops = "|".join(f"{pk}={units.plain(kg)}" for pk, kg in [*by_crop.items()][-MOST_BAGS:])
    response.set_cookie(
        cookie_name(request),
        f"{cleaned.get('seed_unit') or ''}:{weight}:{crops}",
        max_age=YEAR,
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )


def remember_bag(request: MillRequest, at: datetime, cleaned: Mapping[str, object], crop: Crop) -> None:
    """Keep the weight of a bag with the crop, for every device, where seed was counted in bags."""
    bag = cleaned.get("bag")
    if isinstance(bag, Decimal) and bag and cleaned.get("seed_unit") == "bag" and crop.bag_kg != bag:
        actions.remember_bag(by=request.user, at=at, crop=crop, bag_kg=bag)


class RunNew(EntryPage[RunForm, Run]):
    template_name = "web/log/run.html"
    replays = Run

    def prepare(self) -> None:
        self.presses = known.presses_at_work()
        requested = self.request.POST.get("press") or self.request.GET.get("press") or ""
        press = known.usual_press(self.request.user, self.presses, requested)
        if press is None:
            raise NothingToShow(choose_press(self.request, _("Log a run"), reverse("web:run-new")))
        self.press = press
        self.places = known.places_of(press)
        self.before = known.before_run(press)
        self.reading, self.last_run = self.before.reading, self.before.last_run
        self.crops = self.before.crops

    def form(self, data: QueryDict | None) -> RunForm:
        crop = self.before.usual_crop
        same_crop = self.last_run is not None and crop == self.last_run.crop
        return RunForm(
            data,
            reader=self.reader,
            crops=self.crops,
            barrels=known.barrels_of(self.places),
            by_meter=by_meter(self.press, self.reading, self.last_run),
            meter_help=reading_words(self.reading),
            bags=bags_of(self.request, self.crops),
            initial={
                "press": self.press.pk,
                "crop": crop.pk if crop else None,
                "lot": self.last_run.lot if self.last_run and same_crop else "",
                **usual_units(self.request, crop),
                **(self.as_last_time() if "same" in self.request.GET else {}),
            },
        )

    def as_last_time(self) -> dict[str, object]:
        """The last run's crop and numbers as initial values. A meter reading is never prefilled."""
        pressed = None if self.last_run is None else hours.of_run(self.last_run).hours_h
        if self.last_run is None or pressed is None:
            return {}
        unit = units.mass_unit(self.reader.system)
        return {
            "crop": self.last_run.crop_id,
            "lot": self.last_run.lot,
            "hours_h": Decimal(str(round(pressed, 2))),
            "seed": units.from_kg(self.last_run.seed_kg, unit).quantize(Decimal("0.01")),
            "seed_unit": unit,
            # An amount that was not weighed then is only approximate now.
            "seed_how": SeedHow.ABOUT if self.last_run.seed_how != SeedHow.WEIGHED else SeedHow.WEIGHED,
        }

    def last_time(self) -> str:
        """`7.5 h, 400 kg of rapeseed`, or nothing where there was no such run."""
        pressed = None if self.last_run is None else hours.of_run(self.last_run).hours_h
        if self.last_run is None or pressed is None:
            return ""
        return _("%(hours)s h, %(mass)s of %(crop)s") % {
            "hours": units.show_number(pressed, 1, self.reader.system),
            "mass": units.show_mass(self.last_run.seed_kg, self.reader.system),
            "crop": self.last_run.crop,
        }

    def context(self) -> dict[str, object]:
        return {
            "last_time": self.last_time(),
            "press": self.press,
            "presses": self.presses,
            "page": reverse("web:run-new"),
            "running": known.running(self.press),
            "crops": self.crops,
            "dies": [place for place in self.places if place.position.kind == Kind.DIE],
        }

    def act(self, form: RunForm, now: datetime) -> Run:
        self.entered = form
        entry = form.entry(press=self.press, now=now, by_name=str(self.request.user))
        run = actions.log_run(by=self.request.user, at=now, entry=entry, confirmed=form.confirmed)
        remember_bag(self.request, now, form.cleaned_data, run.crop)
        return run

    def done(self, record: Run) -> HttpResponse:
        if record.ends_at is None:
            self.saved(
                _("Started: %(crop)s on %(press)s.") % {"crop": record.crop, "press": record.press}, record
            )
        else:
            self.saved(run_words(record, self.reader.system), record)
        ask_about_dies(self.request, self.places, record.crop, self.reader.system)
        tell_of_uncounted_wear(self.request, self.press, self.places)
        response = self.back()
        if not self.entered.starts:
            remember_units(self.request, response, self.entered.cleaned_data, record.crop)
        return response


def run_words(run: Run, system: str) -> str:
    """The confirmation of what was saved: the seed, and the resulting hours, as decimal and as hours and
    minutes."""
    pressed = hours.of_run(run).hours_h
    time = f"{units.show_hours(pressed, system)} ({units.show_clock(pressed)})"
    return _("Saved: %(seed)s of %(crop)s on %(press)s, %(time)s.") % {
        "seed": seed_words(run, system),
        "crop": run.crop,
        "press": run.press,
        "time": time,
    }


def ask_about_dies(request: MillRequest, places: Sequence[known.PlaceNow], crop: Crop, system: str) -> None:
    """Add a message where a fitted die is not for the crop: which sizes are, with a link to log the
    change."""
    for place in places:
        if place.position.kind != Kind.DIE or place.fitting is None:
            continue
        if known.serves(place.fitting.part, crop):
            continue
        words = _("%(die)s sits on %(position)s and is not a die for %(crop)s.") % {
            "die": place.fitted,
            "position": place.position.name,
            "crop": crop,
        }
        spares = known.spares_for(place.position, crop=crop)
        kinds = [spare.part.part_type for spare in spares if known.serves(spare.part, crop)]
        sizes = sorted({kind.size_mm for kind in kinds if kind.size_mm is not None})
        if sizes:
            words += " " + _("On the shelf for it: %(sizes)s.") % {
                "sizes": ", ".join(units.show_length(size, system) for size in sizes)
            }
        change = with_query(
            "web:work-new",
            press=place.position.press_id,
            position=place.position.pk,
            fitting=place.fitting.pk,
            action=Action.REPLACE.value,
            crop=crop.pk,
        )
        messages.warning(
            request, format_html('{} <a href="{}">{}</a>', words, change, _("Log the other die"))
        )


class RunStop(EntryPage[RunStopForm, Run]):
    template_name = "web/log/run_stop.html"

    def prepare(self) -> None:
        run = get_object_or_404(
            Run.objects.not_voided().select_related("press", "crop"), pk=self.kwargs["pk"]
        )
        if run.ends_at is not None and self.request.method == "GET":
            raise Http404(_("This run has been stopped already."))
        self.run = run
        self.reading = known.last_reading(run.press)

    def form(self, data: QueryDict | None) -> RunStopForm:
        return RunStopForm(
            data,
            reader=self.reader,
            crop=self.run.crop,
            by_meter=by_meter(self.run.press, self.reading, known.last_run(self.run.press)),
            meter_help=reading_words(self.reading),
            initial=usual_units(self.request, self.run.crop),
        )

    def context(self) -> dict[str, object]:
        return {"run": self.run}

    def act(self, form: RunStopForm, now: datetime) -> Run:
        self.entered = form
        value = form.cleaned_data
        run = actions.stop_run(
            by=self.request.user,
            at=now,
            run_id=self.run.pk,
            ended_at=form.at_or("ended_at", now),
            seed_kg=value["seed_kg"],
            seed_how=form.how,
            hours_h=value.get("hours_h"),
            meter_h=value.get("meter_h"),
            oil_kg=value.get("oil_kg"),
            confirmed=form.confirmed,
        )
        remember_bag(self.request, now, value, run.crop)
        return run

    def done(self, record: Run) -> HttpResponse:
        self.saved(run_words(record, self.reader.system), record)
        response = self.back()
        remember_units(self.request, response, self.entered.cleaned_data, record.crop)
        return response


run_new = RunNew.as_page(Permission.LOG)
run_stop = RunStop.as_page(Permission.LOG)
