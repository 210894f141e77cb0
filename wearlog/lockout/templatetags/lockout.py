"""`{% load lockout %}` then `{% caution item.caution %}`: the panel that stands with every task."""

from __future__ import annotations

from django import template

from wearlog.lockout.steps import before_work
from wearlog.lockout.text import caution_as_text, demand, word_of

register = template.Library()


@register.inclusion_tag("lockout/caution.html", name="caution")
def caution_panel(caution: object, full: bool = False) -> dict[str, object]:
    """The panel as HTML. A template that passes no caution fails to render instead of leaving it out.

    Where isolation points stand below it, the steps that are the same for every task open by a touch, so that
    a page with many tasks keeps its hazards and points in sight; `full` (for paper) and a press without
    points show all of it.
    """
    given = demand(caution)
    lead, steps, after = given.text.partition(before_work())
    if full or not given.isolation_points or not lead.strip():
        lead, steps, after = given.text, "", ""
    return {"caution": given, "word": word_of(given), "lead": lead.strip(), "rest": steps + after}


@register.simple_tag(name="caution_as_text")
def caution_lines(caution: object) -> str:
    """The same as lines of plain text, for `.txt` templates."""
    return caution_as_text(demand(caution))
