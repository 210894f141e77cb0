"""Seed to the limit on the page of how long parts last."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.calc.wear.to_limit import NEAR
from wearlog.people.models import Role, User


def test_lives_that_came_near_the_limit_are_shown_by_crop(client: Client, db: None) -> None:
    shop, today = Shop(), timezone.localdate()
    die = shop.type("D5", "die", new_mm=5.0, limit_mm=5.4, expected_life_kg=12_000.0)
    first = today - timedelta(days=60)
    shop.runs(f"{first}", 60, kg=1000)
    # A tonne a day. After ten days 0.4 mm (10 t), 0.38 mm (10.53 t) and 0.2 mm, which tells nothing.
    for index, value in enumerate((5.40, 5.38, 5.20)):
        begin = first + timedelta(days=20 * index)
        part = shop.part(f"D-{index}", die)
        until = "" if index == 2 else f"{begin + timedelta(days=20)} 00:00"
        shop.fit(part, f"{begin} 00:00", until, position="die")
        shop.gauge(f"{begin + timedelta(days=10)} 00:00", part, value)
    client.force_login(User.objects.create_user("reader", role=Role.VIEWER))
    html = client.get("/worth/").content.decode()
    text = unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)))
    # The mean of 10 and 10.526 t, and their standard deviation by n - 1 (by hand).
    row = r"rapeseed 2 10\.26 t 372\.2 kg 10\.00 t to 10\.53 t"
    assert re.search(row, text), text[text.index("Seed to") :][:400]
    assert "the last gauge is carried on to the limit" in text
    assert NEAR == 0.75
    assert "gauged at three quarters of their limit or later" in text
