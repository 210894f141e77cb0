"""What messages add to the words of a task: order, what people said, the stage; texts fit for a header."""

from __future__ import annotations

import re
from datetime import date
from urllib.parse import urlencode

from django.conf import settings
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from wearlog.forecasts.items import DueItem
from wearlog.reminders.models import Stage
from wearlog.reminders.outbox.calls import Line
from wearlog.words.bring import things_to_bring
from wearlog.words.days import day_in_full
from wearlog.words.kinds import noun_words
from wearlog.words.tasks import STATE_WORDS, state_word, task_line_with_rule

# Controls, and marks that turn the direction of reading for all that follows: a name must not do either.
UNSEEN = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
)


def heading(item: DueItem) -> str:
    """`Replace screw S-03 · Press 1 (screw)`: the task as pages name it, and the rule that asks for it."""
    return tidy(task_line_with_rule(item))


def order(item: DueItem, order_on: date | None) -> str:
    """By when a new part must be ordered; empty where none must."""
    if order_on is None:
        return ""
    thing = {"kind": noun_words(item.kind), "day": day_in_full(order_on)}
    return _("Order a new %(kind)s by %(day)s, to have it in time.") % thing


def said(line: Line | None) -> list[str]:
    """What people said of the task, one sentence each."""
    if line is None:
        return []
    words = []
    if line.given is not None and line.given.given_to is not None:
        words.append(_("Given to %(person)s.") % {"person": tidy(str(line.given.given_to))})
    if line.held is not None and line.held.until_on is not None:
        held = {"day": day_in_full(line.held.until_on), "reason": tidy(line.held.reason)}
        words.append(_("Not before %(day)s: %(reason)s") % held)
    if line.seen:
        words.append(_("You have marked it as seen."))
    return words


def bring(item: DueItem, units: str) -> str:
    """What to take along, in one line: what a job card names, and the size, which a card has elsewhere."""
    return tidy("; ".join(things_to_bring(item, units, name_size=True)))


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
    """`Coming up`, `Due`, `Overdue` as pages say it; and `Order the part`, which is no state of a task."""
    stage = stage or item.state
    return state_word(stage) if stage in STATE_WORDS else str(capfirst(Stage(stage).label))


def tidy(text: str) -> str:
    """Without controls, and without marks that turn the reading direction of what follows."""
    return UNSEEN.sub("", text)


def one_line(text: str, *, most: int = 200) -> str:
    """A header has no line breaks, whatever a rule was named, and no more than `most` letters."""
    line = " ".join(tidy(text).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
