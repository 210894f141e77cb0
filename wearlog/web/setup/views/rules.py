"""Service rules, the season plan and prices."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import groupby

from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.compare.capacity import load_of
from wearlog.forecasts.memory.queries import forecast_of_day, items_of_fleet
from wearlog.history.record import Record
from wearlog.lockout.cautions.queries import cautions_for
from wearlog.lockout.isolation.queries import open_isolations
from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.people.words import day as in_figures
from wearlog.people.words import in_language
from wearlog.runs.models import PlanEntry, Price
from wearlog.service.models import Rule
from wearlog.web.drawing.charts.plan_shown import CalendarPicture, calendar_picture, falls_in
from wearlog.web.setup.forms.rules import PlanForm, PriceForm, RuleForm, item_words
from wearlog.web.setup.things import Row, ThingPage, present_words
from wearlog.web.setup.what_if import campaign_words, load_words, planned_row
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import framed
from wearlog.web.site.pages import reader_of
from wearlog.words.rules import CROPS_NAMED, trigger_words

MOST_JOBS = 30
"""How many jobs are in the calendar of the plan, the most urgent first."""


@needs(Permission.VIEW)
def rules(request: MillRequest) -> HttpResponse:
    system = reader_of(request).system
    rows = [
        Row(
            title=rule.code,
            url=reverse("web:rule-edit", kwargs={"pk": rule.pk}),
            words=present_words(
                rule.get_kind_display() if rule.kind else "",
                rule.part_type or "",
                rule.press or "",
                rule.position,
                "; ".join(trigger_words(rule, system)),
            ),
        )
        for rule in Rule.objects.select_related("part_type", "press", *CROPS_NAMED)
    ]
    return render(
        request,
        "web/setup/list.html",
        {
            "heading": _("Service rules"),
            "rows": rows,
            "adds": [(reverse("web:rule-new"), _("Add a rule"))],
            "empty": _("No rule says yet when work is due."),
            "needed": "maintain",
        },
    )


class RulePage(ThingPage[RuleForm, Rule]):
    model = Rule
    form_class = RuleForm
    list_page = "web:rules"
    add_words = gettext_lazy("Add a rule")
    removable = True

    def context(self) -> dict[str, object]:
        context = super().context()
        if self.is_new:
            return context
        press_id = self.thing.press_id
        kind = self.thing.kind or (self.thing.part_type.kind if self.thing.part_type else "")
        return {
            **context,
            # A preview of the caution of this task; the task adds the isolation points of its press.
            "caution": cautions_for([press_id] if press_id else []).of(
                press_id, action=self.thing.action, kind=kind
            ),
        }


@needs(Permission.VIEW)
def plan(request: MillRequest) -> HttpResponse:
    """The season plan, press by press."""
    system = reader_of(request).system
    today = timezone.localdate(timezone=reader_of(request).zone)
    entries = list(
        PlanEntry.objects.select_related("press", "crop").order_by("press__code", "start_on", "pk")
    )
    record = forecast_of_day(as_of=today).edges.record
    record.timelines_of(record.presses)  # reads the logs of all of them together
    groups = []
    for press, of_press in groupby(entries, key=lambda entry: entry.press):
        rows = [_coming_row(entry, record, system) for entry in of_press if entry.end_on >= today]
        past = [plan_row(entry, system) for entry in entries if entry.press == press and entry.end_on < today]
        groups.append((press, rows, past))
    return render(
        request,
        "web/setup/plan.html",
        {
            "heading": _("Season plan"),
            "calendar": _calendar(today, system),
            "groups": groups,
            "adds": [
                (reverse("web:plan-new"), _("Add to the plan")),
                (reverse("web:plan-as-last-year"), _("Plan as last year")),
            ],
            "empty": _(
                "Nothing is planned yet. With a plan the dates of wear follow what you mean to press, "
                "instead of what you pressed before."
            ),
            "needed": "own",
        },
    )


def _calendar(today: date, system: str) -> CalendarPicture | None:
    """The plan as a picture, with the jobs that fall due in it."""
    record = forecast_of_day(as_of=today).edges.record
    jobs = [item for item in items_of_fleet(as_of=today).items if falls_in(record, item)]
    stands = {one.press_id: one.begun_at.timestamp() for one in open_isolations()}
    return calendar_picture(
        record, framed(jobs[:MOST_JOBS]), system=system, jobs=len(jobs), stands_since=stands
    )


def plan_row(entry: PlanEntry, system: str) -> Row:
    return Row(
        title=f"{entry.crop}: {units.show_mass(entry.seed_kg, system)}",
        url=reverse("web:plan-edit", kwargs={"pk": entry.pk}),
        words=present_words(
            _("%(start)s to %(end)s") % {"start": in_figures(entry.start_on), "end": in_figures(entry.end_on)}
        ),
    )


def _coming_row(entry: PlanEntry, record: Record, system: str) -> Row:
    """With what it asks of its press, and the way to try another."""
    row = plan_row(entry, system)
    planned = planned_row(record, entry)
    words = "" if planned is None else load_words(load_of(record, record.plan, planned), system)
    way = reverse("web:plan-what-if", kwargs={"pk": entry.pk}), _("What if …")
    return replace(row, words=present_words(*row.words, words), way=way)


class PlanPage(ThingPage[PlanForm, PlanEntry]):
    model = PlanEntry
    form_class = PlanForm
    list_page = "web:plan"
    add_words = gettext_lazy("Add to the plan")
    removable = True

    def new_thing(self) -> PlanEntry:
        press = self.request.GET.get("press", "")
        entry = PlanEntry(planned_on=timezone.localdate(timezone=self.reader.zone))
        if press.isdecimal():
            entry.press_id = int(press)
        return entry

    def name_of(self, thing: PlanEntry) -> str:
        return campaign_words(thing)

    def take_away(self) -> None:
        actions.remove_plan_entry(by=self.request.user, at=timezone.now(), entry=self.thing)


@needs(Permission.OWN)
def prices(request: MillRequest) -> HttpResponse:
    currency = currency_of(request)
    rows = [price_row(price, currency) for price in Price.objects.order_by("item", "-from_on")]
    return render(
        request,
        "web/setup/list.html",
        {
            "heading": _("Prices"),
            "rows": rows,
            "adds": [(reverse("web:price-new"), _("Add a price"))],
            "empty": _("No price is recorded: costs are not worked out."),
            "needed": "own",
        },
    )


def price_row(price: Price, currency: str) -> Row:
    amount = in_language(units.plain(price.price))
    return Row(
        title=f"{item_words(price.item)}: {amount} {currency}".strip(),
        url=reverse("web:price-edit", kwargs={"pk": price.pk}),
        words=present_words(_("from %s on") % in_figures(price.from_on)),
    )


def currency_of(request: MillRequest) -> str:
    return str(request.mill.currency)


class PricePage(ThingPage[PriceForm, Price]):
    model = Price
    form_class = PriceForm
    list_page = "web:prices"
    add_words = gettext_lazy("Add a price")
    removable = True

    def new_thing(self) -> Price:
        return Price(from_on=timezone.localdate(timezone=self.reader.zone))

    def name_of(self, thing: Price) -> str:
        since = _("from %s on") % in_figures(thing.from_on)
        return f"{item_words(thing.item)}, {since}"

    def form_for(self, thing: Price, made: type[PriceForm], data: QueryDict | None) -> PriceForm:
        return made(data, instance=thing, reader=self.reader, currency=self.request.mill.currency)


rule_new = RulePage.as_page(Permission.MAINTAIN)
rule_edit = RulePage.as_page(Permission.MAINTAIN)
plan_new = PlanPage.as_page(Permission.OWN)
plan_edit = PlanPage.as_page(Permission.OWN)
price_new = PricePage.as_page(Permission.OWN)
price_edit = PricePage.as_page(Permission.OWN)
