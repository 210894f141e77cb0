"""Many runs on one page: all presses at the end of a shift, a week of one press. All are saved, or none."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from tests.web.log.sheets import WEEK, hidden, page, week_of, words
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Role, User
from wearlog.runs.models import Reading, Run
from wearlog.web.log.forms.sheet import ClockField


@pytest.fixture
def desk(client: Client, operator: User) -> Client:
    client.force_login(operator)
    return client


def test_a_week_is_typed_up_and_becomes_seven_days_of_runs(desk: Client, shop: Shop) -> None:
    address = week_of(shop)
    form = hidden(page(desk, address))
    for number, (hours, kilograms) in enumerate([("8", "400"), ("7:30", "380,5"), ("", ""), ("9", "450")]):
        form |= {
            f"line{number}-hours_h": hours,
            f"line{number}-seed": kilograms,
            f"line{number}-until": "18:00",
        }
        form[f"line{number}-crop"] = str(shop.rape.pk)
    answer = desk.post(address, form)
    assert answer.status_code == 302, words(answer.content.decode())
    runs = list(Run.objects.order_by("started_at"))
    assert [run.seed_kg for run in runs] == [Decimal(400), Decimal("380.5"), Decimal(450)]
    # Vienna is an hour ahead of UTC in March: 18:00 there is 17:00.
    assert [run.ends_at for run in runs] == [datetime(2026, 3, day, 17, tzinfo=UTC) for day in (2, 3, 5)]
    assert runs[1].started_at == datetime(2026, 3, 3, 9, 30, tzinfo=UTC)
    assert "Saved: 3 runs, 1.23 t together." in words(page(desk, "/"))


def test_two_shifts_a_day_have_two_lines(desk: Client, shop: Shop) -> None:
    address = week_of(shop, lines="2")
    html = page(desk, address)
    assert html.count('aria-label="Seed, Mon 2 Mar"') == 2
    form = hidden(html) | {
        "line0-until": "14",
        "line0-hours_h": "8",
        "line0-seed": "400",
        "line0-crop": str(shop.rape.pk),
        "line1-until": "22.00",
        "line1-hours_h": "8",
        "line1-seed": "390",
        "line1-crop": str(shop.sunflower.pk),
    }
    assert desk.post(address, form).status_code == 302
    assert [(run.seed_kg, run.crop.code) for run in Run.objects.order_by("started_at")] == [
        (Decimal(400), "rapeseed"),
        (Decimal(390), "sunflower"),
    ]


def test_one_bad_line_keeps_all_from_being_saved_and_nothing_typed_is_lost(desk: Client, shop: Shop) -> None:
    address = week_of(shop)
    form = hidden(page(desk, address)) | {
        "line0-hours_h": "8",
        "line0-seed": "400",
        "line0-crop": str(shop.rape.pk),
        "line1-hours_h": "8x",
        "line1-seed": "410",
        "line1-crop": str(shop.rape.pk),
    }
    answer = desk.post(address, form)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert not Run.objects.exists()
    assert 'href="#id_line1-hours_h"' in html
    assert "Tue 3 Mar" in words(html[html.index("errors") : html.index("</ul>")])
    for typed in ("400", "8x", "410"):
        assert f'value="{typed}"' in html
    assert "Write the seed too" not in html


def test_a_refusal_of_the_log_stands_at_its_line(desk: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, datetime(2026, 3, 3, 6, tzinfo=UTC), "10", "500")
    address = week_of(shop)
    form = hidden(page(desk, address))
    for number in (0, 1):
        form |= {f"line{number}-hours_h": "8", f"line{number}-seed": "400", f"line{number}-until": "16:00"}
        form[f"line{number}-crop"] = str(shop.rape.pk)
    answer = desk.post(address, form)
    assert answer.status_code == 422
    assert Run.objects.count() == 1
    assert "Tue 3 Mar" in words(answer.content.decode().split('id="errors"')[1].split("</ul>")[0])


def test_half_a_line_is_asked_for_and_an_empty_sheet_says_so(desk: Client, shop: Shop) -> None:
    address = week_of(shop)
    form = hidden(page(desk, address))
    assert "Nothing is written yet" in desk.post(address, form).content.decode()
    half = form | {"line2-seed": "400", "line2-crop": str(shop.rape.pk)}
    assert "Write the hours too, or empty the line." in desk.post(address, half).content.decode()
    half = form | {"line2-hours_h": "4", "line2-crop": str(shop.rape.pk)}
    assert "Write the seed too" in desk.post(address, half).content.decode()
    assert not Run.objects.exists()


def test_a_doubt_is_asked_at_its_line_and_taken_when_confirmed(desk: Client, shop: Shop) -> None:
    for day in (20, 21, 22, 23, 24):
        shop.run(shop.north, shop.rape, datetime(2026, 2, day, 6, tzinfo=UTC), "8", "400")
    address = week_of(shop)
    form = hidden(page(desk, address)) | {
        "line0-hours_h": "8",
        "line0-seed": "1400",
        "line0-crop": str(shop.rape.pk),
        "line0-until": "18:00",
    }
    answer = desk.post(address, form)
    html = answer.content.decode()
    assert answer.status_code == 200
    assert Run.objects.count() == 5
    code = re.search(r'name="line0-confirm" value="(\w+)"', html)
    assert code is not None
    assert desk.post(address, form | {"line0-confirm": code[1]}).status_code == 302
    assert Run.objects.latest("started_at").seed_kg == 1400


def test_a_sheet_sent_twice_is_one_sheet(desk: Client, shop: Shop) -> None:
    address = week_of(shop)
    form = hidden(page(desk, address)) | {
        "line0-hours_h": "8",
        "line0-seed": "400",
        "line0-until": "18:00",
        "line0-crop": str(shop.rape.pk),
    }
    assert desk.post(address, form).status_code == 302
    assert desk.post(address, form).status_code == 302
    assert Run.objects.count() == 1


def test_every_press_at_work_has_a_line_and_those_that_did_not_run_stay_empty(
    desk: Client, shop: Shop
) -> None:
    html = page(desk, "/log/sheet/")
    assert f"press{shop.north.pk}-seed" in html
    assert f"press{shop.twin.pk}-seed" in html
    form = hidden(html) | {
        f"press{shop.twin.pk}-hours_h": "6",
        f"press{shop.twin.pk}-seed": "20",
        f"press{shop.twin.pk}-crop": str(shop.rape.pk),
        "seed_unit": "bag",
        "bag": "25",
    }
    now = timezone.now()
    assert desk.post("/log/sheet/", form).status_code == 302
    run = Run.objects.get()
    assert (run.press, run.seed_kg) == (shop.twin, Decimal(500))
    assert run.ends_at is not None
    assert timedelta(0) <= run.ends_at - now < timedelta(minutes=1)


def test_a_press_with_a_meter_asks_for_the_meter_and_shows_the_last_reading(desk: Client, shop: Shop) -> None:
    shop.reading(shop.north, "1234.5", timezone.now() - timedelta(days=1))
    html = page(desk, "/log/sheet/")
    assert f'name="press{shop.north.pk}-meter_h"' in html
    assert f'name="press{shop.twin.pk}-hours_h"' in html
    assert "Last: 1234.5 on" in html
    form = hidden(html) | {
        f"press{shop.north.pk}-meter_h": "1240",
        f"press{shop.north.pk}-seed": "300",
        f"press{shop.north.pk}-crop": str(shop.rape.pk),
    }
    assert desk.post("/log/sheet/", form).status_code == 302
    assert Reading.objects.filter(meter_h=1240).exists()
    assert Run.objects.get().seed_kg == 300


def test_pounds_stay_pounds(desk: Client, shop: Shop, operator: User) -> None:
    User.objects.filter(pk=operator.pk).update(units="us")
    form = hidden(page(desk, "/log/sheet/")) | {
        f"press{shop.north.pk}-hours_h": "20",
        f"press{shop.north.pk}-seed": "700",
        f"press{shop.north.pk}-crop": str(shop.rape.pk),
    }
    assert desk.post("/log/sheet/", form).status_code == 302
    assert Run.objects.get().seed_kg.quantize(Decimal("0.001")) == Decimal("317.515")  # 700 lb, NIST SP 811


def test_bags_need_their_weight(desk: Client, shop: Shop) -> None:
    form = hidden(page(desk, "/log/sheet/")) | {
        f"press{shop.twin.pk}-hours_h": "6",
        f"press{shop.twin.pk}-seed": "20",
        f"press{shop.twin.pk}-crop": str(shop.rape.pk),
        "seed_unit": "bag",
    }
    answer = desk.post("/log/sheet/", form)
    assert answer.status_code == 422
    assert "Write what one bag weighs." in answer.content.decode()


def test_weeks_begin_on_monday_and_lead_to_each_other(desk: Client, shop: Shop) -> None:
    html = page(desk, week_of(shop).replace(WEEK, "2026-03-05"))
    assert "Mon 2 Mar" in html
    assert "Sun 8 Mar" in html
    assert "from=2026-02-23" in html
    assert "from=2026-03-09" in html
    assert page(desk, f"/presses/{shop.north.pk}/week/?from=nonsense&lines=99").count("-seed") > 0


def test_a_viewer_may_print_the_wall_sheet_but_not_type_it_up(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("viewer", role=Role.VIEWER))
    assert client.get(f"/presses/{shop.north.pk}/week/").status_code == 403
    assert client.get("/log/sheet/").status_code == 403
    address = f"/presses/{shop.north.pk}/wall-sheet/"
    assert "No isolation points are recorded for this press" in page(client, address)
    for source in ("heater", "main motor"):
        EnergySource.objects.create(press=shop.north, source=source, kind="electrical", isolate_at="Q1")
    html = page(client, address)
    assert "D-1 A" in html
    assert "lock out." in html
    assert "Isolation points: heater, main motor." in words(html)
    assert html.count("<tr><td>") == 14  # a fortnight


@pytest.mark.parametrize(
    ("text", "hours", "minutes"),
    [("18:00", 18, 0), ("6.30", 6, 30), ("0630", 6, 30), ("1800", 18, 0), ("7", 7, 0), ("0:05", 0, 5)],
)
def test_a_time_of_day_is_taken_as_people_write_it(text: str, hours: int, minutes: int) -> None:
    found = ClockField().clean(text)
    assert (found.hour, found.minute) == (hours, minutes)


@pytest.mark.parametrize("text", ["25:00", "18:60", "six", "18:00:00", "-1", "9999"])
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(Exception, match="not a time of day"):
        ClockField().clean(text)


def test_a_time_that_the_clocks_skipped_is_refused(desk: Client, shop: Shop) -> None:
    address = week_of(shop).replace(WEEK, "2026-03-23")
    form = hidden(page(desk, address)) | {
        "line6-hours_h": "1",
        "line6-seed": "40",
        "line6-until": "2:30",
        "line6-crop": str(shop.rape.pk),
    }
    assert form["line6-day"] == date(2026, 3, 29).isoformat()
    assert "that time never was" in desk.post(address, form).content.decode()
