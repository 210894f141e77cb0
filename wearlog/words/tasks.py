"""A task (a due item) in words: what is to be done, its state, when, and what the forecast is based on."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.forecasts.items import DueItem
from wearlog.words.actions import action_word
from wearlog.words.days import day_in_full, day_words, distance
from wearlog.words.kinds import at_place, part_words

STATE_WORDS = {
    "overdue": gettext_lazy("Overdue"),
    "due": gettext_lazy("Due"),
    "coming": gettext_lazy("Coming up"),
    "unknown": gettext_lazy("Can't tell yet"),
    "later": gettext_lazy("Later"),
}
BASIS_WORDS = {
    "measured": gettext_lazy("from this part's own gauges"),
    "fleet": gettext_lazy("from like parts of the mill"),
    "expected_life": gettext_lazy("from the expected life of its type"),
    "interval": gettext_lazy("from the rule's interval"),
    "none": gettext_lazy("nothing to reckon with yet"),
}


def state_word(state: str) -> str:
    return str(STATE_WORDS[state])


def basis_words(basis: str) -> str:
    return str(BASIS_WORDS[basis])


def worded(work: str, thing: str) -> str:
    """`Flip die D5-04, edge A`, `Flipped die D5-04, edge A`: an action and the thing that it is done on."""
    return _("%(work)s %(thing)s") % {"work": work, "thing": thing}


def work_heading(action: str, *, kind: str = "", part: str = "", edge: str = "", position: str = "") -> str:
    """`Flip die D5-04, edge A`, `Clean gearbox`, `Lubricate the press`: work on a part (its code), else at a
    position, else on the press."""
    thing = part_words(kind, part, edge) if part else position or _("the press")
    return worded(action_word(action), thing)


def heading(item: DueItem) -> str:
    """`Flip die D5-04, edge A`: for lists under the name of the press."""
    return work_heading(item.action, kind=item.kind, part=item.part, edge=item.edge, position=item.position)


def heading_with_place(item: DueItem) -> str:
    """`Flip die D5-04, edge A (left die)`: for lists that do not show the position elsewhere."""
    return at_place(heading(item), item.position) if item.part else heading(item)


def task_line(item: DueItem) -> str:
    """`Flip die D5-04, edge A · Press 2`, or `Lubricate Press 1` where the work is on the whole press."""
    press = item.press_name or item.press
    if not item.part and not item.position:
        return worded(action_word(item.action), press)
    return f"{heading(item)} · {press}"


def task_line_with_rule(item: DueItem) -> str:
    """`Flip die D5-04, edge A · Press 2 (die at its limit)`: for mails and calendars, where two rules may ask
    for the same work and nothing else shows the reason; a page shows it beside the task."""
    return f"{task_line(item)} ({item.rule})"


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


def when_in_full(item: DueItem) -> str:
    """The same as a sentence for texts that may be read on any day: each day has its year, and there is no
    distance from today. Without a due day the sentence says that the work can be done when it fits."""
    if item.due_on is None:
        return _("When: as soon as it fits.")
    early, late = item.early_on, item.late_on
    if early and late and early != late:
        return _("When: about %(due)s, between %(early)s and %(late)s.") % {
            "due": day_in_full(item.due_on),
            "early": day_in_full(early),
            "late": day_in_full(late),
        }
    if early and early < item.due_on:
        return _("When: about %(due)s, from %(early)s on.") % {
            "due": day_in_full(item.due_on),
            "early": day_in_full(early),
        }
    return _("When: %(due)s.") % {"due": day_in_full(item.due_on)}
