"""Seed per harvest: the columns by which the wear model tells a crop's seasons apart."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.mills.forecast_shop import Shop
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.harvests import HarvestColumns, season_of, season_start
from wearlog.forecasts.outlook import Outlook
from wearlog.history.record import load


@pytest.mark.parametrize(
    ("day", "season"),
    [("2026-06-30", 2025), ("2026-07-01", 2026), ("2026-12-31", 2026), ("2027-01-01", 2026)],
)
def test_a_season_begins_on_the_first_of_july(day: str, season: int) -> None:
    assert season_of(date.fromisoformat(day)) == season
    assert season_start(season) <= date.fromisoformat(day) < season_start(season + 1)


steps = st.lists(st.tuples(st.floats(0, 5), st.floats(0, 900), st.integers(0, 1)), max_size=30)


@given(steps, st.floats(0, 7))
def test_seed_is_split_at_each_season_s_beginning(
    pressed: list[tuple[float, float, int]], until: float
) -> None:
    """Against adding up each run by itself; seasons begin at 1, 2, 3 and 4."""
    columns = HarvestColumns(crop=(0, 1) * 5, starts=(1.0, 2.0, 3.0, 4.0))

    def taken(instant: float) -> np.ndarray:
        total = np.zeros(2)
        for at, kg, crop in pressed:
            total[crop] += kg * (at < instant)
        return total

    plain = np.zeros((5, 2))
    for at, kg, crop in pressed:
        plain[sum(at >= start for start in columns.starts), crop] += kg * (at < until)
    split = columns.split(taken(until)[None], np.array([[taken(start) for start in columns.starts]]))
    np.testing.assert_allclose(split.reshape(5, 2), plain, atol=1e-6)
    np.testing.assert_allclose(columns.by_crop(split)[0], taken(until), atol=1e-6)


class TestLog:
    @pytest.fixture
    def edges(self, shop: Shop) -> Edges:
        """100 kg a day from 20 June 2025 to 10 July 2026; a die fitted at the
        beginning, gauged on 30 June 2025 and 2 July 2026 in the evening."""
        type_ = shop.type("D8", "die", new_mm=8.0, limit_mm=8.4)
        die = shop.part("D-1", type_)
        shop.fit(die, "2025-06-20", position="die")
        shop.runs("2025-06-20", 386, kg=100)
        shop.gauge("2025-06-30 23:59", die, 8.01)
        shop.gauge("2026-07-02 23:59", die, 8.21)
        return Edges(load(date(2026, 7, 10)))

    def test_what_an_edge_took_stands_by_season(self, edges: Edges) -> None:
        (edge,) = edges.used.values()
        crops = len(edges.record.crops)
        by_season = edge.harvests_kg.reshape(-1, crops).sum(axis=1)
        # 11 days of June 2025, the season of 365 days, 10 days of July 2026.
        assert by_season.tolist() == pytest.approx([1_100, 36_500, 1_000])
        assert edge.harvests_kg.sum() == pytest.approx(edge.now_kg.sum())

    def test_so_does_what_it_had_taken_at_each_gauge(self, edges: Edges) -> None:
        (record,) = (one for one in edges._type_records.values() if one.edges)
        assert record.harvests == tuple(range(len(edges.record.crops))) * 3
        by_season = record.edges[0].gauge_kg.reshape(2, 3, -1).sum(axis=2)
        assert by_season[0].tolist() == pytest.approx([1_100, 0, 0])
        assert by_season[1].tolist() == pytest.approx([1_100, 36_500, 200])

    def test_the_seasons_to_come_are_told_to_what_is_expected(self, shop: Shop, edges: Edges) -> None:
        outlook = Outlook(edges.record)
        season = outlook.season(next(iter(edges.record.presses)))
        assert season is not None
        assert date.fromordinal(season.turns[0]) == date(2027, 7, 1)
