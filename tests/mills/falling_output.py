"""Runs whose output per hour falls, and the rule that watches it."""

from __future__ import annotations

from datetime import date, timedelta

from tests.mills.forecast_shop import Shop
from wearlog.runs.models import Run

SCATTER = (490, 510, 505, 495, 500, 515, 485, 500, 508, 492)


def some_runs(shop: Shop, first: str, count: int, *, part: float = 1.0, crop: str = "rapeseed") -> list[Run]:
    """Runs of 10 h with a little scatter about 500 kg times `part`."""
    return [
        shop.run(
            f"{date.fromisoformat(first) + timedelta(days=number)} 06:00",
            10,
            round(SCATTER[number % 10] * part),
            crop=crop,
        )
        for number in range(count)
    ]


def the_rule(shop: Shop) -> None:
    shop.rule("output falls", "inspect", on_drift=True)
