"""`{% load lockout %}` then `{% caution item.caution %}`: the panel that stands with every task."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.hazards import shown_word
from wearlog.lockout.cautions.queries import nothing_recorded
from wearlog.lockout.cautions.steps import before_work
from wearlog.lockout.cautions.text import caution_as_text, demand, paragraphs_of, word_of

register = template.Library()
register.filter("signal_word", shown_word)

POINTS_IN_FULL = 3
"""So many points fit a phone's page in full beside the task itself."""


@register.inclusion_tag("lockout/caution.html", name="caution")
def caution_panel(caution: object, full: bool = False, brief: bool = False) -> dict[str, object]:
    """The panel as HTML. A template that passes no caution fails to render instead of leaving it out.

    A page with many tasks must keep the hazards and the name of every isolation point in sight. So the steps
    that are the same for every task open by a touch, and where a press has more than `POINTS_IN_FULL` points,
    so does how each of them is isolated. `full` (for paper and mail) and a press without points show it all.

    `brief` is for a list of tasks: the signal word, the first duty and every hazard by its name stay in
    sight, and one touch (or paper) opens all the rest. A caution whose hazards have no names is not
    shortened.
    """
    given = demand(caution)
    lead, *rest = paragraphs_of(given) or [""]
    points = given.isolation_points
    brief = brief and not full and bool(given.in_short)
    return {
        "caution": given,
        "word": word_of(given),
        "lead": lead,
        "rest": rest,
        "steps": before_work(),
        "folded": bool(rest) and bool(points) and not full and not brief,
        "names": []
        if full or brief or len(points) <= POINTS_IN_FULL
        else [name_of(point) for point in points],
        "duty": first_duty(given) if brief else "",
        "in_short": given.in_short,
    }


def first_duty(caution: Caution) -> str:
    """What comes before any work, in one sentence; where no point is recorded, that it has to be found."""
    count = len(caution.isolation_points)
    if not count:
        return nothing_recorded() + " " + _("Lock and tag each one, release, try the start.")
    return ngettext(
        "First lock and tag %(count)s point, release, try the start.",
        "First lock and tag all %(count)s points, release, try the start.",
        count,
    ) % {"count": count}


def name_of(point: str) -> str:
    """`Main motor` of `Main motor (electrical): isolate at Q1`."""
    return point.partition(": ")[0].rpartition(" (")[0] or point


@register.simple_tag(name="caution_as_text")
def caution_lines(caution: object) -> str:
    """The same as lines of plain text, for `.txt` templates."""
    return caution_as_text(demand(caution))
