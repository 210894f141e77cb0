"""Words that messages add to a task: ordering, what people said, the stage; and cleaning text for headers."""

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

# Control characters, and those that change the direction of the following text, which names must not contain.
UNSEEN = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
)


def heading(item: DueItem) -> str:
    """`Replace screw S-03 · Press 1 (screw)`: the task as pages name it, and the rule that asks for it."""
    return tidy(task_line_with_rule(item))


def order(item: DueItem, order_on: date | None) -> str:
    """The sentence by when a new part must be ordered; empty where none must."""
    if order_on is None:
        return ""
    thing = {"kind": noun_words(item.kind), "day": day_in_full(order_on)}
    return _("Order a new %(kind)s by %(day)s, to have it in time.") % thing


def remarks(line: Line | None) -> list[str]:
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
    """What to bring, in one line: as on a job card, with the size, which the card shows elsewhere."""
    return tidy("; ".join(things_to_bring(item, units, name_size=True)))


def work_link(item: DueItem) -> str:
    """The URL of the form to log this work, filled in. It requires signing in."""
    query = {
        "press": item.press_id,
        "fitting": item.fitting_id,
        "action": item.action,
        "rule": item.rule_id,
    }
    known = {name: value for name, value in query.items() if value}
    return f"{settings.SITE_URL}{reverse('web:work-new')}?{urlencode(known)}"


def stage_word(item: DueItem, stage: str = "") -> str:
    """`Coming up`, `Due`, `Overdue` as on the pages; or `Order the part`, which is a stage but no state of a
    task."""
    stage = stage or item.state
    return state_word(stage) if stage in STATE_WORDS else str(capfirst(Stage(stage).label))


def tidy(text: str) -> str:
    """The text without control characters and without those that change the text direction."""
    return UNSEEN.sub("", text)


def one_line(text: str, *, most: int = 200) -> str:
    """The text without line breaks, for a header, truncated to `most` characters."""
    line = " ".join(tidy(text).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
