"""`{% load lockout %}` then `{% caution item.caution %}`: the panel that accompanies every task."""

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
"""How many isolation points fit on a phone's screen in full, next to the task."""


@register.inclusion_tag("lockout/caution.html", name="caution")
def caution_panel(
    caution: object, full: bool = False, brief: bool = False, framed: bool = False
) -> dict[str, object]:
    """The template context of the panel. Raises TypeError where no caution is passed, so that a page fails
    rather than leaving it out.

    On a page with many tasks, the hazards and the name of every isolation point must stay visible. So the
    steps, which are the same for every task, are collapsed, and where a press has more than `POINTS_IN_FULL`
    points, so is the description of each. With `full` (for paper and mail), or for a press without points,
    everything is shown. `brief` is for lists of tasks: the signal word, the first duty and the name of every
    hazard stay visible, and everything else is collapsed (but printed). `framed` is the same for the frame of
    a press, whose band says how many points to lock first. A caution whose hazards have no short names is not
    shortened.
    """
    given = demand(caution)
    lead, *rest = paragraphs_of(given) or [""]
    points = given.isolation_points
    framed = framed and not full
    brief = (brief or framed) and not full and bool(given.in_short)
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
        "brief": brief,
        "duty": first_duty(given) if brief and not framed else "",
        "points_first": points_first(given) if framed else "",
        "in_short": given.in_short,
    }


def first_duty(caution: Caution) -> str:
    """The first duty before any work, in one sentence; where no isolation point is recorded, to find it."""
    count = len(caution.isolation_points)
    if not count:
        return nothing_recorded() + " " + _("Lock and tag each one, release, try the start.")
    return ngettext(
        "First lock and tag %(count)s point, release, try the start.",
        "First lock and tag all %(count)s points, release, try the start.",
        count,
    ) % {"count": count}


@register.filter
def points_first(caution: Caution) -> str:
    """`8 points to lock first`, for the band above the jobs of a press and for each of them."""
    count = len(caution.isolation_points)
    if not count:
        return _("Points to lock: not described yet")
    return ngettext("%(count)s point to lock first", "%(count)s points to lock first", count) % {
        "count": count
    }


def name_of(point: str) -> str:
    """`Main motor` of `Main motor (electrical): isolate at Q1`."""
    return point.partition(": ")[0].rpartition(" (")[0] or point


@register.simple_tag(name="caution_as_text")
def caution_lines(caution: object) -> str:
    """The caution as lines of plain text, for `.txt` templates."""
    return caution_as_text(demand(caution))
