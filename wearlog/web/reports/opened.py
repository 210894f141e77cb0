"""The records behind each figure of the comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from wearlog.compare.grounds import MixShare, PairFigure, PressFigure
from wearlog.compare.over_seasons import PressSeasons, SeasonRate
from wearlog.compare.queries import Comparison, Line
from wearlog.compare.records.choice import Counts
from wearlog.runs.seasons import SEASON_START
from wearlog.web.site.opened import opened

TOTALS = {
    "hours_per_tonne": ("hours_per_tonne", Counts.RATE),
    "hours_per_short_ton": ("hours_per_tonne", Counts.RATE),
    "kg_per_h": ("throughput", Counts.RATE),
    "lb_per_h": ("throughput", Counts.RATE),
    "seed_t": ("seed", Counts.RATE),
    "seed_short_ton": ("seed", Counts.RATE),
    "hours_h": ("hours", Counts.RATE),
    "runs": ("runs", Counts.RATE),
    "oil_t": ("oil", Counts.RATE),
    "oil_short_ton": ("oil", Counts.RATE),
    "oil_pct": ("oil_pct", Counts.RATE),
    "purge_runs": ("runs", Counts.PURGE),
    "purge_kg": ("seed", Counts.PURGE),
    "purge_lb": ("seed", Counts.PURGE),
    "runs_worked_out": ("runs", Counts.WORKED_OUT),
    "seed_worked_out_kg": ("seed", Counts.WORKED_OUT),
    "seed_worked_out_lb": ("seed", Counts.WORKED_OUT),
    "runs_without_hours": ("runs", Counts.UNTIMED),
    "seed_without_hours_kg": ("seed", Counts.UNTIMED),
    "seed_without_hours_lb": ("seed", Counts.UNTIMED),
}
"""By column of the comparison: the total of the table of runs, and which runs it is made of."""


class Behind:
    """The addresses of a comparison's figures. asked: the presses, crops and seasons that it is narrowed
    to."""

    def __init__(self, comparison: Comparison, asked: Mapping[str, Sequence[str]]) -> None:
        self.comparison, self.asked = comparison, asked
        start = comparison.season_start
        self.season_start = start if start != SEASON_START else ""

    def line(self, column: str, line: Line) -> str:
        """Behind a cell of the table of lines; empty for a name, and for what is no sum of runs."""
        if column not in TOTALS:
            return ""
        total, counts = TOTALS[column]
        return self._runs(total, counts, press=line.press, crop=line.crop, season=line.season)

    def crude(self, figure: PressFigure) -> str:
        return self._runs("hours_per_tonne", Counts.RATE, press=figure.press)

    def at_mix(self, figure: PressFigure) -> str:
        """Behind a press's rate at the crops that it is compared on."""
        mix = self.comparison.mix
        if figure.against:
            both = {figure.press, figure.against}
            mix = next(pair.mix for pair in self.comparison.pairs if {pair.press, pair.other} == both)
        return self._at(figure.press, mix)

    def pair(self, pair: PairFigure) -> tuple[str, str]:
        """Behind the rates of two presses on the crops that both ran."""
        return self._at(pair.press, pair.mix), self._at(pair.other, pair.mix)

    def season(self, figure: str, press: PressSeasons, season: SeasonRate) -> str:
        """Behind a figure of a press in one season."""
        total = {"crude": "hours_per_tonne", "rate": "at_mix", "seed": "seed"}[figure]
        pairs = zip(press.on, press.weights, strict=True)
        mix = [f"{crop}:{weight!r}" for crop, weight in pairs] if figure == "rate" else []
        return self._runs(total, Counts.RATE, press=press.press, season=season.season, mix=mix)

    def _at(self, press: str, mix: Sequence[MixShare]) -> str:
        weights = [f"{share.crop}:{share.share_pct!r}" for share in mix]
        return self._runs("at_mix", Counts.RATE, press=press, mix=weights)

    def _runs(self, total: str, counts: Counts, *, mix: Sequence[str] = (), **of: str) -> str:
        return opened(
            "runs",
            total,
            press=of.get("press") or self.asked["press"],
            crop=of.get("crop") or self.asked["crop"],
            season=of.get("season") or self.asked["season"],
            season_start=self.season_start,
            counts=counts.value,
            mix=mix,
        )
