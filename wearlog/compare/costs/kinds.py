"""The kinds of cost, and why one is left out of a comparison."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Sort(StrEnum):
    """In the order in which costs are stacked."""

    PARTS = "parts"
    """The use of parts over their expected lives, a kind of cost for each kind of part."""
    WORK = "work"
    """The mill's own hours of work on the press, and invoices."""
    MINDING = "minding"
    """Hours of pressing at the price of minding a press for an hour."""
    ENERGY = "energy"
    LOST_OIL = "lost_oil"
    """Oil that better runs of the same crop and harvest gave."""
    STAND_STILL = "stand_still"


@dataclass(frozen=True, order=True)
class CostKind:
    """`part_kind` is empty but for parts."""

    sort: Sort
    part_kind: str = ""


class Lack(StrEnum):
    """Why a press has no figure for a kind of cost."""

    NO_PRICE = "no price"
    NO_LIFE = "no expected life"
    NO_PLACE = "no place on record"
    NOT_RECORDED = "not recorded"


@dataclass(frozen=True)
class LeftOut:
    """A kind of cost that is not in a line's cost. `presses` are the codes of those that lack it, none where
    the mill does not have it at all."""

    kind: CostKind
    presses: tuple[str, ...]
    why: Lack
