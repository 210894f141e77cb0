"""The pages of what lasts and what pays."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop, number
from wearlog.compare.orders import NoOrder
from wearlog.compare.replacing import Withheld
from wearlog.compare.stopping import NoStop
from wearlog.equipment.models import PartType
from wearlog.people.models import Role, User
from wearlog.runs.models import Price, Run
from wearlog.service.models import Service
from wearlog.web.reports.sentences import NO_ORDER_WORDS, NO_STOP_WORDS, WITHHELD_WORDS

BEGUN = 300
"""The mill of these pages began so many days ago."""


def day(number_: int) -> date:
    return timezone.localdate() - timedelta(days=BEGUN - number_)


@pytest.fixture
def shop(db: None) -> Shop:
    """A press of 10 h and 1 t a day: bearings that broke after about 30 days, one changed in time; a screw
    whose oil falls and that is polished ever more often; a die type and a plan ahead."""
    shop = Shop()
    for index in range(BEGUN):
        run = shop.run(f"{day(index)} 06:00", 10, 1000)
        Run.objects.filter(pk=run.pk).update(oil_kg=number(round(380 - index / 5, 3)))
    bearing = shop.type("6203", "bearing", unit_cost=90.0)
    first = 0
    for index, days in enumerate((30, 31, 29, 32, 30, 28, 31, 30, 10)):
        over = first + days
        because = "broken" if days > 10 else "other"
        part = shop.part(f"B<{index}>", bearing, retired_on=day(over), retired_because=because)
        shop.fit(part, f"{day(first)} 00:00", f"{day(over)} 00:00", position="bearing")
        work = shop.serve(f"{day(over)} 00:00", "replace", part=part)
        Service.objects.filter(pk=work.pk).update(downtime_h=8 if because == "broken" else 1)
        first = over
    shop.fit(shop.part("B-now", bearing), f"{day(first)} 00:00", position="bearing")
    screw = shop.part("S1", shop.type("SC60", "screw", unit_cost=600.0))
    shop.fit(screw, f"{day(0)} 00:00")
    for index in (150, 210, 240, 255, 264, 273, 279, 285, 290, 295):
        shop.serve(f"{day(index)} 00:00", "polish", part=screw)
    shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=10_000.0, lead_time_days=14.0)
    shop.plan(day(BEGUN + 40).isoformat(), day(BEGUN + 69).isoformat(), 60_000)
    for item, value in (("oil_kg", 3), ("stand_still_h", 50)):
        Price.objects.create(item=item, from_on=day(-100), price=number(value))
    return shop


@pytest.fixture
def owner_page(client: Client, shop: Shop) -> Client:
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def words(page: Client, address: str) -> str:
    answer = page.get(address)
    assert answer.status_code == 200
    html = answer.content.decode()
    assert "style=" not in html
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :]))).strip()


def test_counts_come_first_and_the_curve_after(owner_page: Client) -> None:
    text = words(owner_page, "/worth/")
    assert "10 parts have worked: 8 failed, 1 lost, remade or retired otherwise, 1 still in use." in text
    assert text.index("10 parts have worked") < text.index("One in ten has failed by")
    assert "They wear out: the older one is, the sooner it fails." in text
    assert "The mean life is" in text


def test_below_three_failures_both_ways_of_failing_are_told_and_no_mean(owner_page: Client) -> None:
    text = words(owner_page, "/worth/")
    screw = text[text.index("SC60") :]
    assert "1 part has worked: 1 still in use." in screw
    assert "None has failed, so there is only a lower limit" in screw
    # 300 t without a failure, by hand: 300 * ln 2 / 2.9957 for shape 1, 300 * (ln 2 / 2.9957)^(1/3) for 3.
    assert "half of them last at least 184.2 t if they wear out, 69.41 t if they fail by chance" in screw
    assert "mean life" not in screw


def test_the_picture_tells_its_steps_in_words(owner_page: Client) -> None:
    html = owner_page.get("/worth/").content.decode()
    picture = html[html.index("<svg") : html.index("</svg>")]
    assert 'role="img"' in picture
    # Eight broke and the one in use is 490 h old; the one changed at 100 h counts no more: 8 of 9 at 280 h.
    assert "Share still working, counted after each failure: 89 % at 280.0 h; 78 % at 290.0 h;" in picture


def test_a_table_beside_the_picture_has_each_step_with_its_range(owner_page: Client) -> None:
    html = owner_page.get("/worth/").content.decode()
    table = html[html.index("still working</caption>") :].split("</table>")[0]
    rows = [re.findall(r">([^<]+)</t[dh]>", row) for row in table.split("<tr>")[2:]]
    # 8 of 9 at 280 h; 0.889 -+ by Greenwood on the log scale: sqrt(1 / (9 * 8)) = 0.1179, e^-0.231 = 0.794,
    # 0.889 * 0.794 = 0.706, capped at 1.
    assert [word.replace("\N{NO-BREAK SPACE}", " ") for word in rows[0]] == [
        "280.0 h",
        "89 %",
        "71 %",
        "100 %",
    ]
    # Eight failed at five ages.
    assert len(rows) == 5


def test_the_picture_is_made_of_the_count_its_range_and_the_fit(owner_page: Client) -> None:
    html = owner_page.get("/worth/").content.decode()
    picture = html[html.index("<svg") : html.index("</svg>")]
    assert [name for name in ("range", "firm", "broken", "ticks") if f'class="{name}"' in picture] == [
        "range",
        "firm",
        "broken",
        "ticks",
    ]
    assert "hours of work" in picture


def test_polishing_that_comes_faster_is_said_in_a_millers_words(owner_page: Client) -> None:
    text = words(owner_page, "/worth/work/")
    assert "Polishing comes faster each time: the screw's surface is going." in text
    assert "over all every 30.00 t" in text


def test_work_is_never_named_without_its_caution(owner_page: Client) -> None:
    for address in ("/worth/work/", "/worth/pays/"):
        text = words(owner_page, address)
        assert "can start by itself" in text, address
        assert "wall switch" in text, address


def test_a_planned_age_is_advised_where_it_pays(owner_page: Client) -> None:
    text = words(owner_page, "/worth/pays/")
    # 90 and 1 h or 8 h at 50 (by hand).
    assert re.search(
        r"Change them at 2\d\d\.\d h, before they fail: that saves about \d\d % of what running to failure "
        r"costs\. Planned it costs 140\.00, after a failure 490\.00\.",
        text,
    )


def test_a_screw_that_loses_more_than_it_has_cost_is_to_be_stopped(owner_page: Client) -> None:
    text = words(owner_page, "/worth/pays/")
    assert re.search(r"S1 \(P1, 300\.0 t\) Stop it\.", text), text
    # 600 and a loss of 0.2 * 3 a tonne and tonne: sqrt(2 * 600 / 0.6) = 44.7 t.
    assert "A tonne costs least if it is changed at about 45 t" in text


def test_dies_to_make_name_number_and_day(owner_page: Client) -> None:
    text = words(owner_page, "/worth/pays/")
    # Edges of 10 t, very uncertain: five dies last for 60 t in 19 of 20 seasons (`calc.policy.dies`).
    assert "Make 5 dies." in text
    assert f"Order the bar by {day(BEGUN + 26).strftime('%-d %b %Y')}." in text


def test_a_missing_price_is_said_on_the_page(owner_page: Client) -> None:
    Price.objects.all().delete()
    text = words(owner_page, "/worth/pays/")
    assert "No advice: there is no price for an hour in which a press stands still." in text
    assert "Can't be said: oil has no price." in text
    PartType.objects.update(unit_cost=None)
    assert "the part type has no price" in words(owner_page, "/worth/pays/")


def test_every_typed_reason_has_its_words() -> None:
    assert set(WITHHELD_WORDS) == set(Withheld)
    assert set(NO_STOP_WORDS) == set(NoStop)
    assert set(NO_ORDER_WORDS) == set(NoOrder)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.OPERATOR, Role.MAINTAINER])
def test_money_is_the_owners_and_lives_are_everybodys(client: Client, shop: Shop, role: str) -> None:
    client.force_login(User.objects.create_user("reader", role=role))
    for address in ("/worth/", "/worth/work/"):
        answer = client.get(address)
        assert answer.status_code == 200
        assert "/worth/pays/" not in answer.content.decode()
    assert client.get("/worth/pays/").status_code == 403
    compared = client.get("/compare/", {"by": "press"}).content.decode()
    assert "Which press earns" not in compared
    download = client.get("/compare/", {"by": "press", "download": "csv"}).content.decode()
    assert "income_per_t" not in download


def test_the_owner_is_told_which_press_earns(owner_page: Client) -> None:
    text = words(owner_page, "/compare/?by=press")
    assert "Which press earns" in text
    assert re.search(r"P1 leaves [\d.]+ for each hour it presses, and [\d .]+ for each tonne\.", text)
    assert "Oil and cake (1/t)" in text


def test_an_empty_mill_says_so(client: Client, db: None) -> None:
    Shop()
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    assert "No part is on record yet." in words(client, "/worth/")
    assert "No polishing, cleaning, adjusting, repair or plugging is on record yet." in words(
        client, "/worth/work/"
    )
    text = words(client, "/worth/pays/")
    assert "No die type is on record." in text
    assert "No screw, die or barrel is on a press." in text


@pytest.mark.parametrize("address", ["/worth/", "/worth/work/", "/worth/pays/"])
def test_a_page_asks_the_database_few_questions(
    owner_page: Client, address: str, django_assert_max_num_queries: object
) -> None:
    with django_assert_max_num_queries(30):  # type: ignore[operator]
        owner_page.get(address)
