"""Costs per tonne that may be held against each other: only kinds of cost that all have on record.

Each cell is a press and a crop. For each kind of cost it has an amount, and the tonnes of the runs for which
that kind is on record (all of its tonnes for costs that are divided among all runs). Amounts and tonnes add
up over any cells, and the rate of a group of cells is

    sum(amount) / sum(tonnes on record).

A kind is in the basket of the presses compared if each of them has it on record, for at least the share
`ENOUGH` of its tonnes in each cell that counts; what is in no common basket is named, never taken as 0.

Presses are compared on the crops that all of them pressed (`calc.mix.common_ground`): the cost at this mix is
the direct standardisation of each kind,

    sum over kinds and crops of w_c * amount_c / tonnes_c        w_c: the crop's share of the mix.

Money in one currency, tonnes of seed. A press without tonnes has no rate (None), not one of 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wearlog.calc import mix

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
ENOUGH = 0.5


@dataclass(frozen=True, eq=False)
class Cells:
    """`tonnes`: shape (presses, crops). `amount`, `on_record_t`: shape (presses, crops, kinds)."""

    tonnes: Floats
    amount: Floats
    on_record_t: Floats

    def __post_init__(self) -> None:
        if not self.amount.shape == self.on_record_t.shape == (*self.tonnes.shape, self.amount.shape[-1]):
            raise ValueError("amount and tonnes on record must have a kind behind the presses and crops")
        if any(not np.all(np.isfinite(part)) for part in (self.tonnes, self.amount, self.on_record_t)):
            raise ValueError("amounts and tonnes must be finite")
        if np.any(self.tonnes < 0) or np.any(self.on_record_t < 0):
            raise ValueError("tonnes can't be below 0")


@dataclass(frozen=True, eq=False)
class Compared:
    """`kinds`: which are in the basket, shape (kinds,). `lacking`: which press lacks which kind, shape
    (presses, kinds). `pressed`: the rate of each kind as pressed, shape (presses, kinds), NaN where nothing
    is on record; `common`: at the mix of `ground`, None without a crop in common."""

    kinds: Flags
    lacking: Flags
    pressed: Floats
    common: Floats | None
    ground: mix.Ground | None


def rates_of(amount: Floats, on_record_t: Floats) -> Floats:
    """Amounts per tonne; NaN where no tonne is on record."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(on_record_t > 0, amount / on_record_t, np.nan)


def compared(cells: Cells, lacking: Flags) -> Compared:
    """The presses on what they have in common. lacking: shape (presses, kinds), what a press is known not to
    have on record. Presses without tonnes count for nothing."""
    ran = cells.tonnes.sum(axis=1) > 0
    ground = mix.common_ground(cells.tonnes[ran]) if ran.any() else None
    counts = (
        cells.tonnes > 0 if ground is None else np.broadcast_to(np.array(ground.mix) > 0, cells.tonnes.shape)
    )
    short = cells.on_record_t < ENOUGH * cells.tonnes[..., None]
    missing = lacking | np.any(short & counts[..., None], axis=1)
    kinds = ~np.any(missing[ran], axis=0) if ran.any() else np.zeros(missing.shape[1], dtype=np.bool_)
    pressed = rates_of(cells.amount.sum(axis=1), cells.on_record_t.sum(axis=1))
    common = None
    if ground is not None:
        weights = np.array(ground.mix) / sum(ground.mix)
        each = np.where(weights[:, None] > 0, rates_of(cells.amount, cells.on_record_t), 0.0)
        common = np.einsum("c,pck->pk", weights, each)
    return Compared(kinds, missing, pressed, common, ground)
