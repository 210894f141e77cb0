"""Spares, dies and order days against worked examples of stock keeping."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from wearlog.calc.policy import Needed, dies_to_make, order_by, spares_to_keep

# Hopp and Spearman, Factory Physics, chapter 2: demand of ten a month by chance, a lead time of a month. With
# a base stock of 14 a share of 0.864 is served from stock, with 15 it is 0.917 (from memory; the same as
# Poisson tables: at most 13 and at most 14 events where 10 are expected, 0.8645 and 0.9165).
LEAD, LONG = 30.0, 100_000


def test_base_stock_of_ten_a_month_at_nine_in_ten() -> None:
    # A rate that is known: very many needs on record.
    found = spares_to_keep(needed=10 * LONG, days=LEAD * LONG, lead_days=LEAD, service_level=0.9)
    assert found.keep == 15
    assert found.served == pytest.approx(0.917, abs=5e-4)
    less = spares_to_keep(needed=10 * LONG, days=LEAD * LONG, lead_days=LEAD, service_level=0.86)
    assert (less.keep, less.served) == (14, pytest.approx(0.864, abs=5e-4))


def test_lives_by_chance_have_the_same_table() -> None:
    # Lives of mean 1 that end by chance: n of them last for 10 as often as fewer than n of a Poisson
    # variable of mean 10 come. Their sum is gamma-distributed, so that nothing is approximated.
    found = dies_to_make(planned=10.0, new_edge=(1.0, 1.0), edges=1, service_level=0.9)
    assert (found.make, found.enough) == (15, pytest.approx(0.9165, abs=5e-5))


@pytest.mark.parametrize(("share", "z"), [(0.05, 1.645), (0.10, 1.282), (0.25, 0.674), (0.50, 0.0)])
def test_order_days_are_the_newsvendors_quantile_of_a_normal_need(share: float, z: float) -> None:
    # The critical fractile: mean - z * sd for a share of late orders (textbook; z from normal tables). A need
    # on 1 September, give or take 1,000 days, so that whole days don't blur it.
    mean, sd = date(2030, 9, 1), 1000.0
    needed = Needed(
        mean - timedelta(days=round(1.28155 * sd)), mean, mean + timedelta(days=round(1.28155 * sd))
    )
    found = order_by(needed, lead_days=0, late_share=share)
    assert found.on is not None
    assert (mean - found.on).days == pytest.approx(z * sd, abs=2)
