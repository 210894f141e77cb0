"""Pages on lifetimes of parts, repeated work, and what pays off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.ledger import ledger
from wearlog.compare.orders import Order, orders
from wearlog.compare.reliability import Ended, PartLife, TypeLives, type_lives
from wearlog.compare.repeats import Repeat, Thing, Trend, repeats
from wearlog.compare.replacing import Mending, PlannedReplacement, mend_or_buy, planned_replacement
from wearlog.compare.shopping.lines import aims_of
from wearlog.compare.shopping.stock import orders_under_way
from wearlog.compare.stopping import Stop, stops
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.memory.queries import Forecast, forecast_of_day
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.queries import Cautions, cautions_for
from wearlog.people.roles import Permission
from wearlog.web.drawing.charts.survival import Survivors, survivors
from wearlog.web.reports import sentences, stopping
from wearlog.web.reports.costing import Amounts
from wearlog.web.reports.limits import ToLimit, to_limit
from wearlog.web.site.access import MillRequest, needs
from wearlog.words.kinds import kind_words

MOST_THINGS = 60
"""How many parts of one type are listed; the oldest first."""


@dataclass(frozen=True)
class InUse:
    """A part in use, its age, and the remaining life that 8 of 10 such parts reach; empty where unknown."""

    lived: PartLife
    press: str
    age: str
    early: str
    late: str


@dataclass(frozen=True)
class LifeLine:
    lives: TypeLives
    kind: str
    counts: str
    words: list[str]
    picture: Survivors | None
    in_use: list[InUse]
    to_limit: list[ToLimit]


@dataclass(frozen=True)
class ThingLine:
    thing: Thing
    words: str


@dataclass(frozen=True)
class RepeatLine:
    repeat: Repeat
    title: str
    words: str
    law: str
    things: list[ThingLine]
    silent: int
    """The number of things on which the work was never done."""
    cautions: list[Caution]
    """The cautions of this work, where it comes ever more often and so has to be done soon."""


@dataclass(frozen=True)
class PlannedLine:
    found: PlannedReplacement
    kind: str
    words: str
    cautions: list[Caution]


@dataclass(frozen=True)
class MendingLine:
    found: Mending
    kind: str
    words: str
    cautions: list[Caution]


@dataclass(frozen=True)
class StopLine:
    found: Stop
    press: str
    words: str
    lowest: str
    why: str
    """Why nothing can be said, else empty."""
    now: bool
    """Whether it is to be changed now."""


@dataclass(frozen=True)
class OrderLine:
    found: Order
    words: str
    late: bool
    enough: str = ""
    """How likely it is that the season's dies last."""


def _known(request: MillRequest) -> tuple[Forecast, dict[int, str], str]:
    known = forecast_of_day(as_of=timezone.localdate())
    known.ground.record.timelines_of(known.ground.record.presses)  # the reports are about all of them
    return known, {pk: row.label for pk, row in known.ground.record.presses.items()}, str(request.units)


@needs(Permission.VIEW)
def part_lives(request: MillRequest) -> HttpResponse:
    """Every part type with a part on record."""
    known, presses, system = _known(request)
    found = [_life_line(each, presses, known.edges, system) for each in type_lives(known.ground.record)]
    return render(request, "web/reports/reliability/part_lives.html", {"lines": found})


def _life_line(each: TypeLives, presses: dict[int, str], edges: Edges, system: str) -> LifeLine:
    left = {id(one.lived): one for one in each.left}
    in_use = []
    for one in each.working[:MOST_THINGS]:
        rest = left.get(id(one))
        in_use.append(
            InUse(
                one,
                presses[one.press_id],
                sentences.amount(one.age(each.by), each.by, system),
                sentences.amount(rest.early, each.by, system) if rest else "",
                sentences.amount(rest.late, each.by, system) if rest else "",
            )
        )
    return LifeLine(
        each,
        kind_words(each.type.kind),
        sentences.counts(each),
        sentences.life_words(each, system),
        survivors(
            each, _picture_words(each, system), system, lambda age: sentences.amount(age, each.by, system)
        ),
        in_use,
        to_limit(edges, each.type.id, system),
    )


def _picture_words(each: TypeLives, system: str) -> str:
    steps = "; ".join(
        _("%(share)s %% at %(age)s")
        % {
            "share": units.show_number(100 * step.survival, 0, system),
            "age": sentences.amount(step.age, each.by, system),
        }
        for step in each.steps
    )
    return _("Share still working, counted after each failure: %(steps)s.") % {"steps": steps}


@needs(Permission.VIEW)
def repeated_work(request: MillRequest) -> HttpResponse:
    """Every kind of repeated work."""
    known, presses, system = _known(request)
    found = repeats(known.ground.record)
    cautions = cautions_for(presses)
    lines = [_repeat_line(each, cautions, presses, system) for each in found]
    at = {thing.press_id for each in found for thing in each.things if thing.analysis.events}
    everywhere = sentences.pressed_cautions(cautions, presses, at, action="", kind="")
    return render(
        request, "web/reports/reliability/repeated_work.html", {"lines": lines, "cautions": everywhere}
    )


def _repeat_line(repeat: Repeat, cautions: Cautions, presses: dict[int, str], system: str) -> RepeatLine:
    done_on = [thing for thing in repeat.things if thing.analysis.events]
    pressing = {
        thing.press_id for thing in done_on if Trend.FASTER in (thing.analysis.trend, repeat.analysis.trend)
    }
    action = repeat.action or ("clean" if repeat.incident == "plugged" else "repair")
    return RepeatLine(
        repeat,
        sentences.title_of(repeat),
        sentences.trend_words(repeat, repeat.analysis, system),
        sentences.law_words(repeat, system),
        [
            ThingLine(thing, sentences.trend_words(repeat, thing.analysis, system))
            for thing in sorted(done_on, key=lambda one: -one.analysis.events)[:MOST_THINGS]
        ],
        len(repeat.things) - len(done_on),
        sentences.pressed_cautions(cautions, presses, pressing, action=action, kind=repeat.kind),
    )


@needs(Permission.OWN)
def costs(request: MillRequest) -> HttpResponse:
    """Planned or after failure, stop or go on, mend or buy, and dies to make."""
    known, presses, system = _known(request)
    record = known.ground.record
    book = ledger()
    cautions = cautions_for(presses)
    currency = request.mill.currency
    money = Amounts(system, currency)

    def said(used: set[int], action: str, kind: str, advised: bool) -> list[Caution]:
        """The cautions of advice; what is no advice shows none."""
        if not advised:
            return []
        return sentences.pressed_cautions(cautions, presses, used, action=action, kind=kind)

    every = [each for each in type_lives(record) if each.lived]
    planned, mending = [], []
    for each in every:
        used = {one.press_id for one in each.lived if one.ended is Ended.IN_SERVICE} or {
            one.press_id for one in each.lived
        }
        kind = kind_words(each.type.kind)
        found = planned_replacement(record, book, each)
        planned.append(
            PlannedLine(
                found,
                kind,
                _planned_words(found, money),
                said(used, "replace", each.type.kind, found.best_age is not None),
            )
        )
        choice = mend_or_buy(record, book, each)
        if choice is not None:
            mending.append(
                MendingLine(
                    choice,
                    kind,
                    _mending_words(choice, money),
                    said(used, "rebuild", each.type.kind, bool(choice.better)),
                )
            )
    stop_lines, changed = [], set()
    for worn in stops(record, book):
        limit = stopping.limit_t(known.edges, worn)
        stop_lines.append(
            StopLine(
                worn,
                presses[worn.press_id],
                stopping.short(worn, limit),
                stopping.lowest(worn, money),
                stopping.headline(worn, limit) if worn.loss is None else "",
                bool(worn.stop) or stopping.at_its_limit(worn, limit),
            )
        )
        if stopping.speaks_of_changing(worn, limit):
            changed.add(worn.press_id)
    context: dict[str, object] = {
        "advised": [line for line in planned if line.found.best_age is not None],
        "withheld": [
            (reason, [line for line in planned if line.words == reason])
            for reason in dict.fromkeys(line.words for line in planned if line.found.best_age is None)
        ],
        "mending": mending,
        "stopped": [line for line in stop_lines if line.now],
        "stop_cautions": sentences.pressed_cautions(cautions, presses, changed, action="replace", kind=""),
        "going_on": [line for line in stop_lines if not line.now],
        "hours_left_out": any(line.found.left_out for line in stop_lines),
        "orders": [
            _order_line(each, record.as_of)
            for each in orders(record, known.edges, book, aims_of(request.mill, orders_under_way()))
        ],
    }
    return render(request, "web/reports/reliability/costs.html", context)


def _planned_words(found: PlannedReplacement, money: Amounts) -> str:
    if found.why is not None:
        return str(sentences.WITHHELD_WORDS[found.why])
    return _(
        "Change them at %(age)s, before they fail: that saves about %(saving)s %% of what running to failure "
        "costs. Planned it costs %(planned)s, after a failure %(failure)s."
    ) % {
        "age": sentences.amount(found.best_age, found.lives.by, money.system),
        "saving": units.show_number(100 * found.saving, 0, money.system),
        "planned": money.money(found.planned_cost),
        "failure": money.money(found.failure_cost),
    }


def _mending_words(found: Mending, money: Amounts) -> str:
    low, high = found.difference.low, found.difference.high
    if low is None or high is None:
        assert found.why is not None
        return str(sentences.WITHHELD_WORDS[found.why])
    near, far = sorted((abs(low), abs(high)))
    figures = {
        "mend": money.per_ton(found.mend.cost_per_t),
        "buy": money.per_ton(found.buy.cost_per_t),
        "near": money.per_ton(near),
        "far": money.per_ton(far),
        "less": money.per_ton(-low),
        "more": money.per_ton(high),
    }
    if found.better == "mend":
        return _("Rebuild: %(mend)s, against %(buy)s for a new one (%(near)s to %(far)s less).") % figures
    if found.better == "buy":
        return _("Buy new: %(buy)s, against %(mend)s for a rebuild (%(near)s to %(far)s less).") % figures
    assert found.why is not None
    words = _(
        "A rebuild costs %(mend)s and a new one %(buy)s, but by the lives on record a rebuild may cost up to "
        "%(less)s less, or up to %(more)s more."
    )
    return f"{sentences.WITHHELD_WORDS[found.why]} {words % figures}"


def _order_line(found: Order, today: date) -> OrderLine:
    if found.why is not None:
        return OrderLine(found, str(sentences.NO_ORDER_WORDS[found.why]), False)
    enough = ""
    if found.enough is not None:
        enough = _("in %(cases)s of 100 cases") % {"cases": math.floor(100 * found.enough)}
    return OrderLine(found, "", found.order_by is not None and found.order_by <= today, enough)
