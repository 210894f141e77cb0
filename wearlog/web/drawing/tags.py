"""`{% caliper wear units %}`: the strip that shows how far an edge has worn."""

from __future__ import annotations

from datetime import date

from django import template

from wearlog.forecasts.items import WearFigure
from wearlog.web.drawing import caliper as strip

register = template.Library()


@register.inclusion_tag("web/drawing/caliper/strip.html")
def caliper(wear: WearFigure, units: str = "", today: date | None = None) -> dict[str, object]:
    return {"strip": strip.caliper(wear), "wear": wear, "units": str(units), "today": today}


@register.inclusion_tag("web/drawing/caliper/small.html")
def caliper_mini(wear: WearFigure, units: str = "", today: date | None = None) -> dict[str, object]:
    """The strip without labels, for lists, where the sentence next to it says the same."""
    return {"strip": strip.caliper(wear), "wear": wear, "units": str(units), "today": today}
