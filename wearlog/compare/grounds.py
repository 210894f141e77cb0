"""What presses can be held against each other on: the crops that all of them pressed, else two by two.

The standardised rate of a press applies its own rate for each crop to a common mix (`calc.mix`). The mix
holds the crops that every press compared has run, so that one rare crop leaves nobody without a figure; what
it leaves out is named. Presses that share no crop with any other are set aside first, and say so. Where the
others have no crop in common, each is given on the crops it shares with the press it shares most seed with,
and all pairs are listed. A range is estimated from the differences between a press's weeks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from wearlog.calc import mix, units
from wearlog.compare.costs.money import Money
from wearlog.compare.runtable import Floats, Places
from wearlog.compare.sums import SumTable

MUCH_LEFT_OUT = 0.5
"""From this share of the seed left out, the pairs are shown beside the figures of all."""


@dataclass(frozen=True, kw_only=True)
class MixShare:
    crop: str
    share_pct: float


@dataclass(frozen=True, kw_only=True)
class PressFigure:
    """A press's hours per tonne, crude and for a common crop mix. `on` names the crops of that mix; `against`
    (`against_name`) is the press that it is shared with, empty where all presses share it. `why` is the
    sentence that says why there is no standardised rate, or no range."""

    press: str
    press_name: str
    crude: float | None
    standardised: float | None
    low: float | None
    high: float | None
    on: tuple[str, ...]
    against: str
    against_name: str
    why: str
    money: Money | None = None


@dataclass(frozen=True, kw_only=True)
class PairFigure:
    """Two presses on the crops that both ran, and what that leaves out of the seed of both."""

    press: str
    press_name: str
    other: str
    other_name: str
    standardised: float
    other_standardised: float
    mix: list[MixShare]
    left_out: list[MixShare]


@dataclass(frozen=True)
class Grounds:
    presses: list[PressFigure]
    mix: list[MixShare]
    left_out: list[MixShare]
    pairs: list[PairFigure]


@dataclass(frozen=True)
class _Pressed:
    """The hours and tonnes of each crop on one press, and those of its weeks for each crop."""

    place: int
    hours: Floats
    tonnes: Floats
    weeks: Sequence[tuple[Floats, Floats]]

    def at(self, ground: mix.Ground | None) -> mix.Standardised | None:
        """Its rate on a ground that it stands on; None without a ground."""
        if ground is None:
            return None
        found = mix.standardise_hours(self.hours, self.tonnes, ground.mix, self.weeks)
        return found if isinstance(found, mix.Standardised) else None


def standardised(table: SumTable) -> Grounds:
    """The presses of the table, on what they have in common."""
    presses = _pressed(table)
    if not presses:
        return Grounds([], [], [], [])
    alone = set(mix.without_company([each.tonnes for each in presses]))
    together = [each for number, each in enumerate(presses) if number not in alone]
    ground = _ground(together)
    pairs: dict[tuple[int, int], mix.Ground] = {}
    if ground is None or sum(ground.left_out) > MUCH_LEFT_OUT:
        for one, other in combinations(together, 2):
            shared = _ground([one, other])
            if shared is not None:
                pairs[one.place, other.place] = shared
    by_place = {each.place: each for each in presses}
    return Grounds(
        presses=[_figure(table, each, ground, pairs) for each in presses],
        mix=_shares(table, ground.mix) if ground else [],
        left_out=_left_out(table, presses, ground) if ground else [],
        pairs=[_pair(table, by_place[one], by_place[other], at) for (one, other), at in pairs.items()],
    )


def _pressed(table: SumTable) -> list[_Pressed]:
    table = table.where(table.sums["runs"] > 0)
    if not table.press.size:
        return []
    presses, size = len(table.press_codes), len(table.crop_codes)
    week = table.week - table.week.min()
    span = int(week.max()) + 1
    # A week in which a season ends stands in two cells.
    cell = table.press * size + table.crop
    keys, member = np.unique(cell * span + week, return_inverse=True)
    borders = np.searchsorted(keys, np.arange(presses * size + 1) * span)
    of_crop = [each.reshape(presses, size) for each in _hours_and_tonnes(table, cell, presses * size)]
    of_week = _hours_and_tonnes(table, member, keys.size)
    return [
        _Pressed(
            place,
            of_crop[0][place],
            of_crop[1][place],
            [
                (of_week[0][borders[one] : borders[one + 1]], of_week[1][borders[one] : borders[one + 1]])
                for one in range(place * size, (place + 1) * size)
            ],
        )
        for place in np.unique(table.press).tolist()
    ]


def _hours_and_tonnes(table: SumTable, member: Places, groups: int) -> tuple[Floats, Floats]:
    """Of each group of cells, shape (groups,) each."""
    return table.group(member, groups, "hours"), table.group(member, groups, "seed") / 1000


def _ground(presses: Sequence[_Pressed]) -> mix.Ground | None:
    return mix.common_ground([each.tonnes for each in presses]) if presses else None


def _shares(table: SumTable, weights: Sequence[float]) -> list[MixShare]:
    whole = sum(weights)
    return [
        MixShare(crop=code, share_pct=100 * weight / whole)
        for code, weight in zip(table.crop_codes, weights, strict=True)
        if weight > 0
    ]


def _left_out(table: SumTable, presses: Sequence[_Pressed], ground: mix.Ground) -> list[MixShare]:
    """The crops beside the ground, with their shares of the seed of all these presses."""
    of_crop = np.sum([each.tonnes for each in presses], axis=0)
    return [
        MixShare(crop=code, share_pct=100 * float(tonnes / of_crop.sum()))
        for code, tonnes, weight in zip(table.crop_codes, of_crop, ground.mix, strict=True)
        if tonnes > 0 and weight <= 0
    ]


def _figure(
    table: SumTable,
    pressed: _Pressed,
    of_all: mix.Ground | None,
    pairs: dict[tuple[int, int], mix.Ground],
) -> PressFigure:
    ground, against, against_name = of_all, "", ""
    if of_all is None:
        own = [(shared, pair) for pair, shared in pairs.items() if pressed.place in pair]
        if own:
            ground, pair = max(own, key=lambda each: sum(each[0].mix))
            other = pair[0] if pair[1] == pressed.place else pair[1]
            against, against_name = table.press_codes[other], table.press_names[other]
    found = pressed.at(ground)
    if pressed.tonnes.sum() <= 0:
        why = _("no seed on record")
    elif found is None:
        why = _("shares no crop with any other press")
    else:
        why = _("no range: too few weeks to tell") if found.low is None else ""
    return PressFigure(
        press=table.press_codes[pressed.place],
        press_name=table.press_names[pressed.place],
        crude=mix.crude_rate(pressed.hours, pressed.tonnes),
        standardised=found.rate if found else None,
        low=found.low if found else None,
        high=found.high if found else None,
        on=tuple(share.crop for share in _shares(table, ground.mix)) if found and ground else (),
        against=against,
        against_name=against_name,
        why=why,
    )


def _pair(table: SumTable, one: _Pressed, other: _Pressed, ground: mix.Ground) -> PairFigure:
    first, second = one.at(ground), other.at(ground)
    assert first is not None  # both ran each crop of their ground
    assert second is not None
    return PairFigure(
        press=table.press_codes[one.place],
        press_name=table.press_names[one.place],
        other=table.press_codes[other.place],
        other_name=table.press_names[other.place],
        standardised=first.rate,
        other_standardised=second.rate,
        mix=_shares(table, ground.mix),
        left_out=_left_out(table, [one, other], ground),
    )


def ground_words(shared: Sequence[MixShare], left_out: Sequence[MixShare], system: str = "") -> str:
    """`on rapeseed and sunflower; camelina, 1.7 %, left out`; empty without a crop in common."""
    if not shared:
        return ""
    kept = _("on %(crops)s") % {"crops": get_text_list([share.crop for share in shared], _("and"))}
    if not left_out:
        return kept
    rest = [
        _("%(crop)s, %(share)s %%") % {"crop": share.crop, "share": _percent(share, system)}
        for share in left_out
    ]
    return _("%(kept)s; %(crops)s, left out") % {"kept": kept, "crops": get_text_list(rest, _("and"))}


def _percent(share: MixShare, system: str) -> str:
    digits = 1 if share.share_pct >= 0.05 else 3
    return units.show_number(share.share_pct, digits, system)


def against_words(figure: PressFigure) -> str:
    """`on flax, beside South press`: the ground of a press that is compared with one other alone."""
    return _("on %(crops)s, beside %(press)s") % {
        "crops": get_text_list(list(figure.on), _("and")),
        "press": figure.against_name,
    }
