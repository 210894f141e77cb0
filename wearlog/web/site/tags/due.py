"""Due items in words: heading, state with its mark, days, and where the buttons lead."""

from __future__ import annotations

from datetime import date, timedelta
from urllib.parse import urlencode

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.equipment.models import Kind
from wearlog.forecasts import campaign
from wearlog.forecasts.items import DueItem
from wearlog.people.dates import written
from wearlog.service.models import Action

register = template.Library()

STATE_WORDS = {
    "overdue": gettext_lazy("Overdue"),
    "due": gettext_lazy("Due"),
    "coming": gettext_lazy("Coming up"),
    "unknown": gettext_lazy("Can't tell yet"),
    "later": gettext_lazy("Later"),
}
# One shape each, so that a page in the sun or a print in black tells them apart.
MARKS = {
    "overdue": '<path class="full" d="M2 2h16v16H2z"/>',
    "due": '<path class="full" d="M10 1l9 9-9 9-9-9z"/>',
    "coming": '<path d="M10 2l8 8-8 8-8-8z"/>',
    "unknown": '<circle cx="10" cy="10" r="8" stroke-dasharray="4 3"/>',
    "later": '<path d="M3 10h14"/>',
}
DONE_WORDS = {
    Action.INSPECT: gettext_lazy("Inspected"),
    Action.MEASURE: gettext_lazy("Measured"),
    Action.CLEAN: gettext_lazy("Cleaned"),
    Action.POLISH: gettext_lazy("Polished"),
    Action.FLIP: gettext_lazy("Flipped"),
    Action.TURN: gettext_lazy("Turned"),
    Action.REPLACE: gettext_lazy("Replaced"),
    Action.ADJUST: gettext_lazy("Adjusted"),
    Action.LUBRICATE: gettext_lazy("Lubricated"),
    Action.REAM: gettext_lazy("Reamed"),
    Action.HARD_FACE: gettext_lazy("Hard-faced"),
    Action.REBUILD: gettext_lazy("Rebuilt"),
    Action.REPAIR: gettext_lazy("Repaired"),
    Action.STORE: gettext_lazy("Stored"),
}
BASIS_WORDS = {
    "measured": gettext_lazy("from this part's own gauges"),
    "fleet": gettext_lazy("from like parts of the mill"),
    "expected_life": gettext_lazy("from the expected life of its type"),
    "interval": gettext_lazy("from the rule's interval"),
    "none": gettext_lazy("nothing to reckon with yet"),
}


def part_words(kind: str, code: str, edge: str = "") -> str:
    """`die D5-04, edge A`; a code that says its kind itself, as `P4 belt`, stands alone."""
    word = "" if kind in ("", Kind.OTHER) else str(Kind(kind).label)
    named = code if word.lower() in code.lower() else f"{word} {code}"
    return _("%(part)s, edge %(edge)s") % {"part": named, "edge": edge} if edge else named


def thing_words(item: DueItem) -> str:
    """`die D5-04, edge A`, or the position, or `the press`."""
    if item.part:
        return part_words(item.kind, item.part, item.edge)
    return item.position or _("the press")


def action_word(action: str) -> str:
    """`Flip`: the work as the first word of a line."""
    word = str(Action(action).label)
    return word[:1].upper() + word[1:]


@register.filter
def work_word(action: str) -> str:
    """`flip`: the work within a sentence."""
    return str(Action(action).label)


@register.filter
def heading(item: DueItem) -> str:
    """`Flip die D5-04, edge A`."""
    return _("%(work)s %(thing)s") % {"work": action_word(item.action), "thing": thing_words(item)}


@register.filter
def task_line(item: DueItem) -> str:
    """`Flip die D5-04, edge A · Press 2`, or `Lubricate Press 1` where the work is on the whole press."""
    if not item.part and not item.position:
        return _("%(work)s %(thing)s") % {"work": action_word(item.action), "thing": item.press_name}
    return f"{heading(item)} · {item.press_name}"


@register.filter
def thing(item: DueItem) -> str:
    return thing_words(item)


@register.filter
def state_word(state: str) -> str:
    return str(STATE_WORDS[state])


@register.simple_tag
def mark(state: str) -> SafeString:
    """The state's sign; its word stands beside it, so a screen reader passes over the sign."""
    return format_html(
        '<svg class="mark" viewBox="0 0 20 20" aria-hidden="true" focusable="false">{}</svg>',
        SafeString(MARKS[state]),
    )


@register.filter
def done_word(action: str) -> str:
    """`Flipped`: the button of somebody who has done it."""
    return str(DONE_WORDS[Action(action)])


@register.filter
def basis_words(basis: str) -> str:
    return str(BASIS_WORDS[basis])


def day_words(day: date, today: date | None) -> str:
    near = today is not None and abs(day - today) < timedelta(days=180)
    return written(day, "D j M" if near else "D j M Y")


@register.filter
def day(value: date | None, today: date | None = None) -> str:
    """`Sat 14 Mar`, with the year where it is half a year or more from `today`."""
    return "" if value is None else day_words(value, today)


def distance(due_on: date, today: date) -> str:
    days = (due_on - today).days
    if days == 0:
        return _("today")
    if days == 1:
        return _("tomorrow")
    if days == -1:
        return _("yesterday")
    size = abs(days)
    if size < 60:
        words = ngettext("%(n)s day", "%(n)s days", size) % {"n": size}
    elif size < 700:
        months = round(size / 30.4)
        words = ngettext("%(n)s month", "%(n)s months", months) % {"n": months}
    else:
        years = round(size / 365.25)
        words = ngettext("%(n)s year", "%(n)s years", years) % {"n": years}
    return (_("in %(time)s") if days > 0 else _("%(time)s ago")) % {"time": words}


@register.filter
def when(item: DueItem, today: date) -> str:
    """The day in words with its range, or an empty text where there is none."""
    if item.due_on is None:
        return ""
    words = f"{day_words(item.due_on, today)}, {distance(item.due_on, today)}"
    early, late = item.early_on, item.late_on
    if early is not None and late is not None and early < late:
        words += " " + _("(between %(early)s and %(late)s)") % {
            "early": day_words(early, today),
            "late": day_words(late, today),
        }
    elif early is not None and early < item.due_on:
        words += " " + _("(from %(day)s on)") % {"day": day_words(early, today)}
    return words


@register.filter
def work_url(item: DueItem) -> str:
    """The page that logs this work, with what is known filled in."""
    asked = {"press": item.press_id, "action": item.action, "rule": item.rule_id}
    if item.fitting_id:
        asked["fitting"] = item.fitting_id
    return f"{reverse('web:work-new')}?{urlencode(asked)}"


@register.filter
def opens_press(item: DueItem) -> bool:
    """Whether the work needs the head off, so that one stop may serve more of it."""
    return campaign.opens_press(action=item.action, kind=item.kind)


MOST_CARDS = 40
"""So many due items an address of job cards may name."""


def card_key(item: DueItem) -> str:
    """Names one due item in an address: rule, press, position, part, edge."""
    return ".".join(
        str(part)
        for part in (item.rule_id, item.press_id, item.position_id or 0, item.part_id or 0, item.edge or "-")
    )


@register.filter
def card_url(item: DueItem) -> str:
    """The job card of this item, to print."""
    return f"{reverse('web:job-card')}?{urlencode({'item': card_key(item)})}"


register.filter("card_key", card_key)
