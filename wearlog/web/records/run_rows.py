"""The rows and columns of the table of runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import headline
from wearlog.compare.records.chosen import Chosen, Floats, Places
from wearlog.compare.records.money import MoneyOfRuns
from wearlog.runs.models import Run, SeedHow
from wearlog.web.records.columns import Column, mass_of, per_ton

AT_ONCE = 2_000


@dataclass(frozen=True)
class RunRow:
    """One run, as far as it counts here; hours and masses by its share."""

    pk: int
    started: datetime
    press: str
    press_code: str
    crop: str
    lot: str
    by: str
    how: str
    purge: bool
    hours: float | None
    seed: float
    oil: float | None
    cake: float | None
    energy: float | None
    share: float
    in_rates: bool
    cost: float | None = None
    income: float | None = None

    @property
    def hours_per_tonne(self) -> float | None:
        return None if self.hours is None else units.hours_per_tonne(self.hours, self.seed)


class RunRows:
    """The chosen runs in an order, newest first to begin with."""

    def __init__(self, chosen: Chosen, zone: ZoneInfo, money: MoneyOfRuns | None = None) -> None:
        self.chosen, self.zone, self.money = chosen, zone, money
        self.order: Places = np.argsort(-chosen.started, kind="stable")

    def sort(self, by: str) -> None:
        """Order by a column, a minus in front for the other way round; what is not known comes last."""
        name = by.lstrip("-")
        key = self._keys(name)[self.order]
        key = -key if by.startswith("-") else key
        self.order = self.order[np.argsort(key, kind="stable")]

    def _keys(self, name: str) -> Floats:
        chosen = self.chosen
        if name == "rate":
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.where(chosen.seed > 0, chosen.hours / chosen.seed, np.nan)
        names = {"started": chosen.started, "press": chosen.press, "crop": chosen.crop, "hours": chosen.hours}
        names |= {"seed": chosen.seed, "oil": chosen.oil, "cake": chosen.cake, "energy": chosen.energy}
        return names[name].astype(np.float64)

    def read(self, first: int, last: int) -> list[RunRow]:
        return self._rows(self.order[first:last])

    def each(self) -> Iterator[RunRow]:
        """All rows; lots and names are read some thousand at a time."""
        for first in range(0, self.order.size, AT_ONCE):
            yield from self.read(first, first + AT_ONCE)

    def _rows(self, places: Places) -> list[RunRow]:
        chosen = self.chosen
        found = Run.objects.filter(pk__in=chosen.id[places].tolist()).order_by()
        texts = {row[0]: row[1:] for row in found.values_list("pk", "lot", "done_by", "seed_how", "purge")}
        rows = []
        for place in places.tolist():
            pk = int(chosen.id[place])
            lot, by, how, purge = texts.get(pk, ("", "", "", False))
            rows.append(
                RunRow(
                    pk=pk,
                    started=datetime.fromtimestamp(float(chosen.started[place]), UTC).astimezone(self.zone),
                    press=chosen.press_names[chosen.press[place]],
                    press_code=chosen.press_codes[chosen.press[place]],
                    crop=chosen.crop_codes[chosen.crop[place]],
                    lot=lot,
                    by=by,
                    how=how,
                    purge=purge,
                    hours=_known(chosen.hours, place),
                    seed=float(chosen.seed[place]),
                    oil=_known(chosen.oil, place),
                    cake=_known(chosen.cake, place),
                    energy=_known(chosen.energy, place),
                    share=float(chosen.share[place]),
                    in_rates=bool(chosen.in_rates[place]),
                    cost=None if self.money is None else _known(self.money.cost, place),
                    income=None if self.money is None else _known(self.money.income, place),
                )
            )
        return rows


def _known(column: Floats, place: int) -> float | None:
    value = float(column[place])
    return None if np.isnan(value) else value


def run_columns(
    chosen: Chosen, system: str, *, for_file: bool, money: MoneyOfRuns | None = None
) -> list[Column[RunRow]]:
    """The columns of runs in the reader's units. On the page those are left out in which nothing stands.
    money: where each run shall have its cost and income beside it."""
    unit = units.mass_unit(system)

    def mass(key: str, words: str, name: str) -> Column[RunRow]:
        return Column(
            f"{key}_{unit}",
            f"{words} ({unit})",
            lambda row: mass_of(getattr(row, name), system),
            digits=1,
            sort=name,
        )

    shares = bool((chosen.share < 1).any())
    columns: list[tuple[bool, Column[RunRow]]] = [
        (
            True,
            Column("started", _("Started"), lambda row: row.started, sort="started", width=17, record=True),
        ),
        (
            True,
            Column("press", _("Press"), lambda row: row.press_code if for_file else row.press, sort="press"),
        ),
        (True, Column("crop", _("Crop"), lambda row: row.crop, sort="crop")),
        (True, Column("hours_h", _("Hours (h)"), lambda row: row.hours, digits=2, sort="hours")),
        (True, mass("seed", _("Seed"), "seed")),
        (
            True,
            Column(
                f"hours_per_{'short_ton' if units.is_us(system) else 'tonne'}",
                headline(system),
                lambda row: per_ton(row.hours_per_tonne, system),
                digits=2,
                sort="rate",
            ),
        ),
        (_any(chosen.oil), mass("oil", _("Oil"), "oil")),
        (_any(chosen.cake), mass("cake", _("Cake"), "cake")),
        (_any(chosen.energy), Column("energy_kwh", _("Energy (kWh)"), lambda row: row.energy, 1, "energy")),
        (shares, Column("share_pct", _("Share of the run (%)"), lambda row: 100 * row.share, digits=1)),
        (True, Column("lot", _("Lot"), lambda row: row.lot)),
        (True, Column("done_by", _("Done by"), lambda row: row.by, width=16)),
        (
            not bool(chosen.in_rates.all()),
            Column("counts", _("Counts"), _counts if not for_file else _counts_in_file, width=14),
        ),
    ]
    found = [column for there, column in columns if there or for_file]
    return found if money is None else [*found, *_money_columns(money)]


def _money_columns(money: MoneyOfRuns) -> list[Column[RunRow]]:
    cost, income = _("Cost"), _("Oil and cake")
    unit = f" ({money.currency})" if money.currency else ""
    return [
        Column("cost", f"{cost}{unit}", lambda row: row.cost, digits=2),
        Column("income", f"{income}{unit}", lambda row: row.income, digits=2),
    ]


def _any(column: Floats) -> bool:
    return not bool(np.isnan(column).all())


def _counts(row: RunRow) -> str:
    """Why a run is in no rate; nothing for most."""
    if row.in_rates:
        return ""
    if row.purge:
        return _("purge")
    return _("seed worked out") if row.how == SeedHow.WORKED_OUT else _("without hours")


def _counts_in_file(row: RunRow) -> str:
    """The same as a word that does not depend on who downloads."""
    if row.in_rates:
        return "rate"
    if row.purge:
        return "purge"
    return "worked_out" if row.how == SeedHow.WORKED_OUT and row.hours is not None else "untimed"


def lines_in_file(
    columns: Sequence[Column[RunRow]], chosen: Chosen, system: str
) -> list[list[str | float | None]]:
    """The totals below a workbook: one line for each crop, then all together, in the columns' places."""
    lines = []
    for place in [*(chosen.crops() if len(chosen.crops()) > 1 else []), None]:
        sums = chosen.totals(place)
        known: dict[str, str | float | None] = {
            "started": _("All together") if place is None else "",
            "crop": "" if place is None else chosen.crop_codes[place],
            "hours_h": sums.hours,
            "energy_kwh": sums.energy,
        }
        for name in ("seed", "oil", "cake"):
            known[f"{name}_{units.mass_unit(system)}"] = mass_of(getattr(sums, name), system)
        for key in ("hours_per_tonne", "hours_per_short_ton"):
            known[key] = per_ton(sums.hours_per_tonne, system)
        lines.append([known.get(column.key) for column in columns])
    return lines
