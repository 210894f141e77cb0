"""Which press earns most: the money of a comparison in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.compare.columns import all_out_words, money_words, per_ton, shown
from wearlog.compare.grounds import PressFigure
from wearlog.compare.queries import Comparison

ITEM_WORDS = {"oil": gettext_lazy("oil"), "cake": gettext_lazy("cake"), "seed": gettext_lazy("seed")}


def sentences(comparison: Comparison, system: str = "") -> list[str]:
    """The answer, then a sentence on what is not included; no sentence where no money is recorded."""
    if comparison.total.money is None:
        return []
    return [_answer(comparison, system), *_left_out(comparison)]


def table(
    comparison: Comparison, presses: Iterable[PressFigure], system: str = ""
) -> list[tuple[str, list[tuple[str, str]]]]:
    """For each of these presses its name and the (words, figure) pairs of costs and money left per tonne and
    per hour."""
    us = units.is_us(system)
    found = []
    for one in presses:
        if one.money is None:
            continue
        values = (
            (_("Cost"), per_ton(one.money.cost_per_t, us), False),
            (_("Left over"), per_ton(one.money.left_per_t, us), False),
            (_("Left over"), one.money.left_per_h, True),
        )
        found.append(
            (
                one.press_name,
                [
                    (
                        money_words(words, comparison.currency, per_hour=per_hour, us=us),
                        shown(value, 2, system),
                    )
                    for words, value, per_hour in values
                ],
            )
        )
    return found


def _answer(comparison: Comparison, system: str) -> str:
    us = units.is_us(system)

    def figures(one: PressFigure) -> dict[str, str]:
        money = one.money
        hour = None if money is None else money.left_per_h
        ton = None if money is None else per_ton(money.left_per_t, us)
        return {
            "press": one.press_name,
            "hour": f"{shown(hour, 2, system)} {comparison.currency}".strip(),
            "ton": f"{shown(ton, 2, system)} {comparison.currency}".strip(),
            "unit": _("short ton") if us else _("tonne"),
        }

    known = [one for one in comparison.presses if one.money is not None and one.money.left_per_h is not None]
    silent = [one.press_name for one in comparison.presses if one not in known]
    said = []
    known.sort(key=lambda one: -(one.money.left_per_h or 0.0) if one.money is not None else 0.0)
    if not known:
        return _(
            "Which press earns can't be said yet: it takes weighed oil and its price, and where cake or seed "
            "have a price, those too."
        )
    if len(known) == 1:
        said.append(
            _("%(press)s leaves %(hour)s for each hour it presses, and %(ton)s for each %(unit)s.")
            % figures(known[0])
        )
    else:
        said.append(
            _("%(press)s earns most: for each hour it presses it leaves %(hour)s, for each %(unit)s %(ton)s.")
            % figures(known[0])
        )
        said.append(_("%(press)s leaves least: %(hour)s an hour, %(ton)s a %(unit)s.") % figures(known[-1]))
    if comparison.earned_on:
        said.append(
            _("Only runs of %(crops)s are counted for this: no other crop's seed has a price.")
            % {"crops": ", ".join(comparison.earned_on)}
        )
    if known and silent:
        said.append(_("Of %(presses)s it can't be said.") % {"presses": ", ".join(silent)})
    return " ".join(said)


def _left_out(comparison: Comparison) -> list[str]:
    basket = comparison.basket
    if basket is None:
        return []
    said = []
    if basket.left_out:
        named = all_out_words(basket.left_out)
        said.append(_("Not compared, since not all have it on record: %(named)s.") % {"named": named})
    if basket.no_price:
        named = ", ".join(str(ITEM_WORDS[item]) for item in basket.no_price)
        said.append(_("Not counted, for want of a price: %(named)s.") % {"named": named})
    return said
