"""A due item in words for mails and other messages: heading, days, what to bring, and where it is logged."""

from __future__ import annotations

import re
from datetime import date
from urllib.parse import urlencode

from django.conf import settings
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc.units import show_length
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.people.dates import written
from wearlog.reminders.models import Stage
from wearlog.reminders.outbox.calls import Line
from wearlog.service.models import Action

TOOLS = {
    Kind.SCREW: gettext_lazy("spanners for the head, a puller and a stand for the screw"),
    Kind.DIE: gettext_lazy("spanners for the head and a soft drift"),
    Kind.BARREL: gettext_lazy("spanners for the barrel and something that holds its weight"),
    Kind.HEAD: gettext_lazy("spanners for the head and something that holds its weight"),
    Kind.BEARING: gettext_lazy("a bearing puller"),
    Kind.GEARBOX: gettext_lazy("a tray for the old oil"),
    Kind.BELT: gettext_lazy("spanners for the tensioner"),
}
"""What opens the machine. Common practice, no source."""

WITH_THE_ACTION = {
    Action.POLISH: gettext_lazy("polishing cloth and paste"),
    Action.CLEAN: gettext_lazy("scrapers and brushes"),
    Action.LUBRICATE: gettext_lazy("the grease or oil that the maker names"),
    Action.REAM: gettext_lazy("the reamer of the next size"),
    Action.ADJUST: gettext_lazy("shims and a feeler gauge"),
}
"""Common practice, no source."""

NEEDS_A_SPARE = (Action.REPLACE, Action.REBUILD, Action.REPAIR, Action.HARD_FACE, Action.REAM)
NEEDS_A_GAUGE = (Action.MEASURE, Action.INSPECT, Action.POLISH, Action.REAM)
OPENS_THE_MACHINE = (*NEEDS_A_SPARE, Action.POLISH, Action.FLIP, Action.TURN)

# Controls, and marks that turn the direction of reading for all that follows: a name must not do either.
UNSEEN = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
)


def heading(item: DueItem) -> str:
    """`replace screw S-03 on Press 1 (screw)`, in the language that is active."""
    part = " ".join(word for word in (item.part, item.edge) if word)
    words = {
        "action": label(Action, item.action),
        "thing": part or item.position or label(Kind, item.kind),
        "press": item.press_name or item.press,
        "rule": item.rule,
    }
    if words["thing"]:
        return tidy(_("%(action)s %(thing)s on %(press)s (%(rule)s)") % words)
    return tidy(_("%(action)s %(press)s (%(rule)s)") % words)


def when(item: DueItem) -> str:
    """The likely day and the range around it; a reminder always has at least a reason, if not a day."""
    if item.due_on is None:
        return _("When: as soon as it fits.")
    if item.early_on and item.late_on and item.early_on != item.late_on:
        return _("When: about %(due)s, between %(early)s and %(late)s.") % {
            "due": day(item.due_on),
            "early": day(item.early_on),
            "late": day(item.late_on),
        }
    return _("When: %(due)s.") % {"due": day(item.due_on)}


def order(item: DueItem, order_on: date | None) -> str:
    """By when a new part must be ordered; empty where none must."""
    if order_on is None:
        return ""
    thing = {"kind": label(Kind, item.kind), "day": day(order_on)}
    return _("Order a new %(kind)s by %(day)s, to have it in time.") % thing


def said(line: Line | None) -> list[str]:
    """What people said of the task, one sentence each."""
    if line is None:
        return []
    words = []
    if line.given is not None and line.given.given_to is not None:
        words.append(_("Given to %(person)s.") % {"person": tidy(str(line.given.given_to))})
    if line.held is not None and line.held.until_on is not None:
        held = {"day": day(line.held.until_on), "reason": tidy(line.held.reason)}
        words.append(_("Not before %(day)s: %(reason)s") % held)
    if line.seen:
        words.append(_("You have marked it as seen."))
    return words


def bring(item: DueItem, units: str) -> str:
    """What to take along: a spare of the part's kind and size, tools, gauge and material."""
    kind = label(Kind, item.kind) if item.kind else ""
    size = f" {show_length(item.size_mm, units)}" if item.size_mm else ""
    words = {"kind": kind, "size": size, "part": item.part}
    things: list[str] = []
    if kind and item.action in NEEDS_A_SPARE:
        things.append(_("a spare %(kind)s%(size)s for %(part)s") % words if item.part else f"{kind}{size}")
    if kind and item.action in NEEDS_A_GAUGE:
        things.append(_("the gauge for the %(kind)s%(size)s") % words)
    names_size = bool(things)
    if item.action in OPENS_THE_MACHINE and item.kind in TOOLS:
        things.append(str(TOOLS[Kind(item.kind)]))
    if item.action in WITH_THE_ACTION:
        things.append(str(WITH_THE_ACTION[Action(item.action)]))
    if size and not names_size:
        things.append(_("for the %(kind)s%(size)s") % words)
    return tidy("; ".join(things))


def work_link(item: DueItem) -> str:
    """The address of the page that logs this very work, filled in. It asks for a sign-in."""
    query = {
        "press": item.press_id,
        "fitting": item.fitting_id,
        "action": item.action,
        "rule": item.rule_id,
    }
    known = {name: value for name, value in query.items() if value}
    return f"{settings.SITE_URL}{reverse('web:work-new')}?{urlencode(known)}"


def stage_word(item: DueItem, stage: str = "") -> str:
    """`Coming up`, `Order the part`, `Due`, `Overdue`."""
    return str(capfirst(Stage(stage or item.state).label))


def day(value: date) -> str:
    """A day that is read alike everywhere: the month as a word."""
    return written(value, "j F Y")


def label(choices: type[Action] | type[Kind], value: str) -> str:
    """The word for a coded value in the active language; a code that is not known stays as it is."""
    return str(choices(value).label) if value in choices.values else value


def tidy(text: str) -> str:
    """Without controls, and without marks that turn the reading direction of what follows."""
    return UNSEEN.sub("", text)


def one_line(text: str, *, most: int = 200) -> str:
    """A header has no line breaks, whatever a rule was named, and no more than `most` letters."""
    line = " ".join(tidy(text).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
