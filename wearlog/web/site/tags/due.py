"""Template tags for tasks: words from `wearlog.words`, the symbol of a state, and the URLs of buttons."""

from __future__ import annotations

from datetime import date, datetime
from urllib.parse import urlencode

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from wearlog.equipment.kinds import LEAVES_OIL
from wearlog.forecasts import campaign
from wearlog.forecasts.items import DueItem
from wearlog.service.work import ENDS_LIFE
from wearlog.words.actions import action_word, done_word, work_word
from wearlog.words.days import day_words
from wearlog.words.kinds import fitted_part_words
from wearlog.words.tasks import basis_words, heading, state_word, task_line, when

register = template.Library()

# Different shapes, so that they can be distinguished in sunlight and in black print.
MARKS = {
    "overdue": '<path class="full" d="M2 2h16v16H2z"/>',
    "due": '<path class="full" d="M10 1l9 9-9 9-9-9z"/>',
    "coming": '<path d="M10 2l8 8-8 8-8-8z"/>',
    "unknown": '<circle cx="10" cy="10" r="8" stroke-dasharray="4 3"/>',
    "later": '<path d="M3 10h14"/>',
}
register.filter("work_word", work_word)
register.filter("action_word", action_word)
register.filter("done_word", done_word)
register.filter("heading", heading)
register.filter("task_line", task_line)
register.filter("when", when)
register.filter("state_word", state_word)
register.filter("basis_words", basis_words)
register.filter("part_words", fitted_part_words)


@register.simple_tag
def mark(state: str) -> SafeString:
    """The state's symbol, hidden from screen readers, since the word is next to it."""
    return format_html(
        '<svg class="mark" viewBox="0 0 20 20" aria-hidden="true" focusable="false">{}</svg>',
        SafeString(MARKS[state]),
    )


@register.filter(expects_localtime=True)
def day(value: date | datetime | None, today: date | None = None) -> str:
    """`Sat 14 Mar`, with the year where it is half a year or more from `today`; empty for None. For an
    instant, its day in the mill's zone."""
    if value is None:
        return ""
    return day_words(value.date() if isinstance(value, datetime) else value, today)


@register.filter
def work_url(item: DueItem) -> str:
    """The URL of the form that logs this work, with known values filled in."""
    query = {"press": item.press_id, "action": item.action, "rule": item.rule_id}
    if item.fitting_id:
        query["fitting"] = item.fitting_id
    return f"{reverse('web:work-new')}?{urlencode(query)}"


@register.filter
def opens_press(item: DueItem) -> bool:
    """Whether the work needs the head off, so that other such work can be done in the same stop."""
    return campaign.opens_press(action=item.action, kind=item.kind)


@register.filter
def asks_whether_to_stop(item: DueItem) -> bool:
    """Whether the work ends a life on a press of which there is a page when to stop it."""
    on_press = item.part_id is not None and item.fitting_id is not None
    return item.action in ENDS_LIFE and item.kind in LEAVES_OIL and on_press


MOST_CARDS = 40
"""How many due items the URL of job cards may name."""


def card_key(item: DueItem) -> str:
    """The key of a due item in URLs: rule, press, position, part, edge."""
    return ".".join(
        str(part)
        for part in (item.rule_id, item.press_id, item.position_id or 0, item.part_id or 0, item.edge or "-")
    )


@register.filter
def card_url(item: DueItem) -> str:
    """The URL of this item's job card, to print."""
    return f"{reverse('web:job-card')}?{urlencode({'item': card_key(item)})}"


register.filter("card_key", card_key)
