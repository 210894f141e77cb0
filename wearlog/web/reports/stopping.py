"""Whether a worn part still pays, in words and figures of the reader's units."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.calc.policy import Course
from wearlog.compare.columns import SHORT_TON_T
from wearlog.compare.stopping import NoStop, Stop
from wearlog.forecasts.edges import Edges
from wearlog.web.drawing.charts.side_by_side import SideBySide
from wearlog.web.drawing.charts.stop_curve import Curve, pictures
from wearlog.web.reports import sentences
from wearlog.web.reports.costing import Amounts

SHARES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5)
"""At which parts of the tonnes of the lowest cost the table says what a tonne costs."""


def limit_t(edges: Edges, found: Stop) -> float | None:
    """At how many tonnes of its life the gauges let expect the limit, where the part goes on with the crops
    that it has pressed."""
    _type, edge = edges.fit_of(found.part, found.edge)
    left = edge.seed_left(np.array(found.mix_kg))
    return None if left is None else (found.seed_kg + left.mid) / 1000


def at_its_limit(found: Stop, limit: float | None) -> bool:
    """Whether its gauges say that the limit is reached, which goes before what a tonne costs."""
    return limit is not None and limit <= found.seed_kg / 1000


def speaks_of_changing(found: Stop, limit: float | None) -> bool:
    """Whether the answer may lead to work on the press now, so that the caution belongs to it."""
    return bool(found.stop) or at_its_limit(found, limit) or _now_or_later(found)


def headline(found: Stop, limit: float | None) -> str:
    """The answer in a sentence."""
    if at_its_limit(found, limit):
        return _("Change it: by its gauges it has reached its limit, whatever a tonne costs.")
    if _now_or_later(found):
        return _(
            "Now or later: a tonne costs about the least that it can with this part, and changing it a "
            "little earlier or later makes hardly a difference."
        )
    if found.why is not None:
        return str(sentences.NO_STOP_WORDS[found.why])
    if found.stop:
        return _("Stop it: a tonne now loses more than a tonne has cost on average so far.")
    return _("Go on: a tonne now still loses less than a tonne has cost on average so far.")


def short(found: Stop, limit: float | None) -> str:
    """The answer in a word or two, for lists."""
    if at_its_limit(found, limit):
        return _("Change it, at its limit")
    if _now_or_later(found):
        return _("Now or later")
    if found.why is not None:
        return _("Can't be said")
    return _("Stop it") if found.stop else _("Go on")


def _now_or_later(found: Stop) -> bool:
    """Whether the loss may lie on either side while the part is in the stretch where it matters little."""
    if found.why is not NoStop.UNSURE or found.courses is None or (little := found.courses[1].little) is None:
        return False
    return little[0] <= found.seed_kg / 1000 <= little[1]


def figures(found: Stop, reader: Amounts) -> str:
    """What it loses now, what a tonne has cost, and by what; empty where that isn't known."""
    if found.loss_now is None or found.loss_range is None:
        return ""
    words = _(
        "It now loses %(loss)s (%(low)s to %(high)s), by %(basis)s and hours per tonne, each press, harvest "
        "and crop compared with itself; the average so far is %(average)s."
    ) % {
        "loss": reader.per_ton(found.loss_now),
        "low": reader.per_ton(found.loss_range.low),
        "high": reader.per_ton(found.loss_range.high),
        "basis": _("oil left in the cake") if found.analysed else _("weighed oil"),
        "average": reader.per_ton(found.average_so_far),
    }
    if not found.lives:
        return words
    lives = ngettext(
        "%(count)d life of this type tells it.", "%(count)d lives of this type tell it together.", found.lives
    )
    return f"{words} {lives % {'count': found.lives}}"


def lowest(found: Stop, reader: Amounts) -> str:
    """At how many tonnes a tonne costs least; empty where that isn't known."""
    if found.courses is None:
        return ""
    least_loss, middle, most_loss = found.courses
    earliest = most_loss.lowest
    if earliest is None:
        return _("No loss is seen: by what a tonne costs it can stay until it reaches its limit.")
    early = _tons(earliest, reader)
    if middle.lowest is None:
        return _("A tonne costs least if it is changed at %(early)s at the earliest.") % {"early": early}
    values = {"at": _tons(middle.lowest, reader), "early": early}
    if least_loss.lowest is None:
        return (
            _("A tonne costs least if it is changed at about %(at)s, at %(early)s at the earliest.") % values
        )
    return _("A tonne costs least if it is changed at about %(at)s (%(early)s to %(late)s).") % (
        values | {"late": _tons(least_loss.lowest, reader)}
    )


def _tons(tonnes: float, reader: Amounts) -> str:
    """As exactly as such an estimate deserves."""
    tons = tonnes / (SHORT_TON_T if units.is_us(reader.system) else 1.0)
    return f"{units.show_number(tons, 0 if tons >= 20 else 1, reader.system)} {units.per_word(reader.system)}"


def at_limit(found: Stop, limit: float | None, reader: Amounts) -> str:
    """Which comes first, the limit of its gauges or the lowest cost; empty where the limit isn't known or
    is reached, which the headline says."""
    if limit is None or at_its_limit(found, limit):
        return ""
    values = {"limit": _tons(limit, reader)}
    least = found.courses[1].lowest if found.courses else None
    if least is None:
        return _("By its gauges it reaches its limit at about %(limit)s.") % values
    if least > limit:
        return _("By its gauges it reaches its limit before that, at about %(limit)s.") % values
    return _("By its gauges it reaches its limit only at about %(limit)s.") % values


@dataclass(frozen=True)
class CostAt:
    """A row of the table: tonnes, and the cost of a tonne by the least loss of the range, the middle and the
    most."""

    tonnes: str
    today: bool
    low: str
    middle: str
    high: str


def table(found: Stop, reader: Amounts) -> list[CostAt]:
    """What a tonne costs on average if the part is changed at so many tonnes."""
    if found.courses is None:
        return []
    today = found.seed_kg / 1000
    centre = found.courses[1].lowest or found.courses[2].lowest or today
    ages = sorted({*(share * centre for share in SHARES), today})
    return [
        CostAt(_tons(age, reader), age == today, *(reader.rate(each.average(age)) for each in found.courses))
        for age in ages
    ]


def picture(found: Stop, limit: float | None, reader: Amounts) -> SideBySide | None:
    """The curve; None where the loss isn't known."""
    if found.courses is None:
        return None
    ton = SHORT_TON_T if units.is_us(reader.system) else 1.0
    # With tonnes of t tons each, a cost per ton is t times that per tonne, and a slope t squared times.
    low, middle, high = (Course(course.cost, course.slope * ton**2) for course in found.courses)
    curve = Curve(
        (low, middle, high),
        found.seed_kg / 1000 / ton,
        None if limit is None else limit / ton,
        {
            "today": _("today"),
            "limit": _("limit"),
            "lowest": _("lowest"),
            "little": _("lowest; bar: within 5 %"),
        },
    )
    return pictures(curve, reader.system, " ".join(_label(found, limit, reader)))


def _label(found: Stop, limit: float | None, reader: Amounts) -> Iterator[str]:
    yield _("What a tonne costs on average as %(part)s ages (%(unit)s).") % {
        "part": found.part.code,
        "unit": reader.unit,
    }
    yield lowest(found, reader)
    yield at_limit(found, limit, reader)
