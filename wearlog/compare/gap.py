"""One sentence on how far the slowest press is from the fastest, and how much of that their crops explain."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.grounds import PressFigure


def gap_sentence(figures: Sequence[PressFigure], system: str = "") -> str:
    """`South takes 11.0 h/t more than North. Its crops explain 5.2 h/t; 5.8 h/t remain at the crops all ran
    (2.0 to 10.0 h/t).` The range is of 95 % and takes both presses' weeks as independent. Empty where
    fewer than two presses have a rate."""
    known = [figure for figure in figures if figure.crude is not None]
    if len(known) < 2:
        return ""
    fast, slow = (pick(known, key=lambda figure: figure.crude or 0.0) for pick in (min, max))
    more = (slow.crude or 0.0) - (fast.crude or 0.0)

    def per_tonne(value: float) -> str:
        return units.show_per_tonne(value, system)

    values = {"slow": slow.press_name, "fast": fast.press_name, "more": per_tonne(more)}
    said = _("%(slow)s takes %(more)s more than %(fast)s.") % values
    rate, other = slow.standardised, fast.standardised
    if rate is None or other is None or slow.against or fast.against:
        return said
    rest = rate - other
    half = math.hypot(_half(slow), _half(fast))
    span = ""
    if not math.isnan(half):
        low = per_tonne(rest - half).partition(" ")[0]
        span = " " + _("(%(low)s to %(high)s)") % {"low": low, "high": per_tonne(rest + half)}
    values |= {"explained": per_tonne(more - rest), "rest": per_tonne(abs(rest))}
    if rest <= 0:
        found = _("Its crops explain all of it: at the crops all ran it takes %(rest)s less")
    elif rest >= more:
        found = _("At the crops all ran it takes %(rest)s more")
    else:
        found = _("Its crops explain %(explained)s; %(rest)s remain at the crops all ran")
    return f"{said} {found % values}{span if rest > 0 else ''}."


def _half(figure: PressFigure) -> float:
    """Half the width of a press's range, NaN where it has none."""
    if figure.low is None or figure.high is None:
        return math.nan
    return (figure.high - figure.low) / 2
