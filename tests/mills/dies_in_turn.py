"""Dies that wear out one after another."""

from __future__ import annotations

from datetime import timedelta

from tests.mills.forecast_shop import Shop, day
from wearlog.equipment.models import PartType


def many(shop: Shop, die: PartType) -> None:
    """Six dies one after another, 80 days each, gauged every 20 days at 0.005 mm a day, planned as run."""
    for number in range(6):
        begun = day("2025-01-01") + timedelta(days=80 * number)
        part = shop.part(f"D-{number}", die, retired_on=begun + timedelta(days=80), retired_because="worn")
        shop.fit(part, f"{begun} 00:30", f"{begun + timedelta(days=80)} 00:15", edge="A", position="die")
        for days in (20, 40, 60):
            shop.gauge(f"{begun + timedelta(days=days)} 05:00", part, 5.0 + 0.005 * days, edge="A")
    shop.runs("2025-01-01", 485)
    shop.plan("2025-01-01", "2026-04-30", 485 * 500)
