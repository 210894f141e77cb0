"""`{% load lockout %}` then `{% caution item.caution %}`: the panel that stands with every task."""

from __future__ import annotations

from django import template

from wearlog.lockout.text import caution_as_text, demand, word_of

register = template.Library()


@register.inclusion_tag("lockout/caution.html", name="caution")
def caution_panel(caution: object) -> dict[str, object]:
    """The panel as HTML. A template that passes no caution fails to render instead of leaving it out."""
    return {"caution": demand(caution), "word": word_of(demand(caution))}


@register.simple_tag(name="caution_as_text")
def caution_lines(caution: object) -> str:
    """The same as lines of plain text, for `.txt` templates."""
    return caution_as_text(demand(caution))
