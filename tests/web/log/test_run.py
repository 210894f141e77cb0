"""Logging a run: two numbers, the person's own units, questions and refusals that lose nothing typed."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.dates import at
from tests.mills.log_shop import Shop
from tests.web.html import flat
from wearlog.history import versions
from wearlog.history.models import LogVersion
from wearlog.logbook import actions as log
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Rule
from wearlog.web.site.forms import new_ref


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def numbers(shop: Shop, **typed: str) -> dict[str, str]:
    return {
        "ref": new_ref(),
        "press": str(shop.north.pk),
        "crop": str(shop.rape.pk),
        "seed_unit": "kg",
        **typed,
    }


def test_press_crop_die_and_last_reading_are_filled_in(phone: Client, shop: Shop, operator: User) -> None:
    ago = timezone.now() - timedelta(days=2)
    shop.run(shop.north, shop.sunflower, ago, None, "0", by=operator)
    Run.objects.update(ended_at=ago + timedelta(hours=8), ends_at=ago + timedelta(hours=8))
    shop.reading(shop.north, "1234.5", ago + timedelta(hours=8))
    text = page(phone, "/log/run/")
    assert f'href="/log/run/?press={shop.north.pk}" aria-current="true"' in text
    assert "D-1 A" in text
    assert "Last: 1234.5 on" in text
    assert f'value="{shop.sunflower.pk}" class="pill" required id="id_crop_0" checked' in text or (
        f'name="crop" value="{shop.sunflower.pk}"' in text and "checked" in text
    )


def test_two_numbers_make_a_run_and_a_reading(phone: Client, shop: Shop) -> None:
    shop.reading(shop.north, "100", timezone.now() - timedelta(hours=9))
    answer = phone.post("/log/run/", numbers(shop, meter_h="107,5", seed="350"))
    assert answer.status_code == 302
    run = Run.objects.get()
    assert (run.press, run.crop, run.seed_kg) == (shop.north, shop.rape, Decimal("350"))
    assert Reading.objects.order_by("-read_at").first().meter_h == Decimal("107.5")  # type: ignore[union-attr]


def test_clock_hours_and_decimal_hours_are_told_apart(phone: Client, shop: Shop) -> None:
    phone.post("/log/run/", numbers(shop, hours_h="7:30", seed="350"))
    assert Run.objects.get().hours_h == Decimal("7.5")


def test_the_same_page_sent_twice_is_one_run(phone: Client, shop: Shop) -> None:
    typed = numbers(shop, hours_h="7.5", seed="350")
    first, second = phone.post("/log/run/", typed), phone.post("/log/run/", typed)
    assert (first.status_code, second.status_code) == (302, 302)
    assert Run.objects.count() == 1


def test_the_same_page_with_another_number_is_refused_and_keeps_what_was_typed(
    phone: Client, shop: Shop
) -> None:
    typed = numbers(shop, hours_h="7.5", seed="350")
    phone.post("/log/run/", typed)
    answer = phone.post("/log/run/", {**typed, "seed": "360"})
    assert answer.status_code == 422
    assert 'value="360"' in answer.content.decode()
    assert Run.objects.get().seed_kg == Decimal("350")


def test_a_reader_in_pounds_types_1000_lb_and_reads_1000_lb(
    client: Client, shop: Shop, operator: User
) -> None:
    operator.units = "us"
    operator.save()
    client.force_login(operator)
    answer = client.post("/log/run/", numbers(shop, hours_h="24", seed="1,000", seed_unit="lb"), follow=True)
    run = Run.objects.get()
    assert run.seed_kg == Decimal("453.592370")  # 1 lb is 0.45359237 kg exactly (NIST SP 811, B.8)
    assert "1,000 lb" in answer.content.decode()
    assert 'value="1000"' in page(client, f"/log/run/{run.pk}/correct/")


def test_bags_need_their_weight_and_remember_it(phone: Client, shop: Shop) -> None:
    without = phone.post("/log/run/", numbers(shop, hours_h="7", seed="12", seed_unit="bag"))
    assert "Write what one bag weighs." in without.content.decode()
    assert Run.objects.count() == 0
    phone.post("/log/run/", numbers(shop, hours_h="7", seed="12", seed_unit="bag", bag="25"))
    assert Run.objects.get().seed_kg == Decimal("300")
    text = page(phone, "/log/run/")
    assert '<option value="bag" selected>' in text
    assert 'name="bag" value="25"' in text


def test_bushels_go_by_the_crop(phone: Client, shop: Shop) -> None:
    phone.post("/log/run/", numbers(shop, hours_h="7", seed="10", seed_unit="bushel"))
    # Rapeseed is bought at 50 lb a bushel (common practice, no source): 10 bushels are 226.79619 kg.
    assert Run.objects.get().seed_kg == Decimal("226.796190")


def test_a_wrong_number_is_named_at_its_field_and_the_rest_is_kept(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/run/", numbers(shop, hours_h="seven", seed="350", lot="L-9"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'href="#id_hours_h"' in text
    assert "“seven” is not a number" in text
    assert 'value="seven"' in text
    assert 'value="350"' in text
    assert 'value="L-9"' in text
    assert Run.objects.count() == 0


def test_a_number_out_of_range_names_the_range(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/run/", numbers(shop, hours_h="7", seed="350", moisture_pct="140"))
    assert "Write a number from 0 to 100 %." in answer.content.decode()


def test_a_doubtful_run_asks_and_is_taken_when_confirmed(phone: Client, shop: Shop) -> None:
    shop.reading(shop.north, "500", timezone.now() - timedelta(hours=8))
    typed = numbers(shop, meter_h="490", hours_h="7", seed="350", note="new battery")
    asked = phone.post("/log/run/", typed)
    text = flat(asked.content.decode())
    assert asked.status_code == 200
    assert 'name="confirm" value="meter_went_back"' in text
    assert 'value="490"' in text
    assert "new battery" in text
    assert Run.objects.count() == 0
    answer = phone.post("/log/run/", {**typed, "confirm": "meter_went_back"})
    assert answer.status_code == 302
    assert Run.objects.get().seed_kg == Decimal("350")


def test_questions_of_several_rounds_are_each_asked_once(phone: Client, shop: Shop) -> None:
    started = (timezone.now() - timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M")
    ended = timezone.now().strftime("%Y-%m-%dT%H:%M")
    typed = numbers(shop, hours_h="7", seed="90000", started_at=started, ended_at=ended)
    first = flat(phone.post("/log/run/", typed).content.decode())
    codes = re.findall(r'name="confirm" value="(\w+)"', first)
    assert set(codes) == {"more_hours_than_clock", "unit_looks_wrong"}
    second = flat(phone.post("/log/run/", {**typed, "confirm": codes[:1]}).content.decode())
    assert re.findall(r'name="confirm" value="(\w+)"', second) == codes[1:]
    assert re.findall(r'name="confirmed_before" value="(\w+)"', second) == codes[:1]
    about = re.findall(r'name="asked_about" value="(\w+)"', second)[0]
    carried = {**typed, "confirm": codes[1:], "confirmed_before": codes[:1], "asked_about": about}
    # Another number makes the answer of the first round void: it was given to another question.
    again = flat(phone.post("/log/run/", {**carried, "hours_h": "9"}).content.decode())
    assert re.findall(r'name="confirm" value="(\w+)"', again) == codes[:1]
    assert phone.post("/log/run/", carried).status_code == 302
    assert Run.objects.count() == 1


def test_a_meter_that_went_back_leads_to_the_new_meter_and_the_hours(phone: Client, shop: Shop) -> None:
    shop.reading(shop.north, "500", timezone.now() - timedelta(hours=8))
    typed = numbers(shop, meter_h="3", seed="350")
    assert "If the meter was replaced, say new meter" in phone.post("/log/run/", typed).content.decode()
    answer = phone.post("/log/run/", {**typed, "confirm": "meter_went_back"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'href="#id_meter_h"' in text
    assert re.search(r'<details class="fold" open>\s*<summary>Other times, meter', text)
    phone.post("/log/run/", {**typed, "new_meter": "on", "hours_h": "7"})
    reading = Reading.objects.get(meter_h=3)
    assert (reading.kind, Run.objects.get().hours_h) == ("new_meter", Decimal("7"))


def test_a_run_is_started_and_stopped_later(phone: Client, shop: Shop) -> None:
    phone.post("/log/run/", numbers(shop, start="1"))
    run = Run.objects.get()
    assert run.ends_at is None
    assert f"/log/run/{run.pk}/stop/" in page(phone, f"/log/run/?press={shop.north.pk}")
    Run.objects.update(started_at=timezone.now() - timedelta(hours=5))
    answer = phone.post(f"/log/run/{run.pk}/stop/", {"seed": "250", "seed_unit": "kg", "hours_h": "4.5"})
    assert answer.status_code == 302
    run.refresh_from_db()
    assert (run.seed_kg, run.hours_h, run.ends_at is None) == (Decimal("250"), Decimal("4.5"), False)


def test_a_twin_asks_which_barrels_pressed(phone: Client, shop: Shop) -> None:
    assert 'name="through"' in page(phone, f"/log/run/?press={shop.twin.pk}")
    assert 'name="through"' not in page(phone, f"/log/run/?press={shop.north.pk}")
    typed = numbers(shop, press=str(shop.twin.pk), hours_h="5", seed="300", through="left")
    phone.post("/log/run/", typed)
    assert (Run.objects.get().through, Run.objects.get().slot) == ("left", 1)


def test_several_presses_are_offered_as_buttons_where_none_is_usual(phone: Client, shop: Shop) -> None:
    text = page(phone, "/log/run/")
    assert f'href="/log/run/?press={shop.north.pk}"' in text
    assert f'href="/log/run/?press={shop.twin.pk}"' in text
    assert 'name="seed"' not in text


def test_a_viewer_may_not_log(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    assert client.get("/log/run/").status_code == 403
    assert client.post("/log/run/", numbers(shop, hours_h="7", seed="350")).status_code == 403
    assert Run.objects.count() == 0


def test_without_a_sign_in_the_way_leads_there_and_back(client: Client, shop: Shop) -> None:
    answer = client.get(f"/log/run/?press={shop.north.pk}")
    assert answer.headers["Location"] == f"/sign-in/?next=%2Flog%2Frun%2F%3Fpress%3D{shop.north.pk}"


def test_the_page_for_a_run_writes_nothing(phone: Client, shop: Shop) -> None:
    before = AuditEntry.objects.count()
    page(phone, f"/log/run/?press={shop.north.pk}")
    assert (AuditEntry.objects.count(), Run.objects.count()) == (before, 0)


def test_saving_says_what_became_due_by_it(
    client: Client, mill: Mill, operator: User, transactional_db: None
) -> None:
    shop = Shop()
    Rule.objects.create(code="polish", action="polish", kind="screw", every_h=Decimal(100))
    versions.touch()  # so that what was due before is remembered
    begin = timezone.now() - timedelta(days=20)
    for day in range(12):
        shop.run(shop.north, shop.rape, begin + timedelta(days=day), "8", "400", by=operator)
    client.force_login(operator)
    assert "Due on this press" not in page(client, f"/log/work/?press={shop.north.pk}")
    typed = numbers(shop, hours_h="8", seed="400")
    text = client.post("/log/run/", typed, follow=True).content.decode()
    assert "With this, one thing became due. It stands below." in text
    assert "Polish screw S-1" in text
    again = client.post("/log/run/", numbers(shop, hours_h="0.5", seed="25"), follow=True).content.decode()
    assert "became due" not in again


def test_the_pages_take_few_queries_whatever_the_mill_has_logged(
    phone: Client, shop: Shop, operator: User
) -> None:
    for day in range(30):
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=day + 1), "8", "400", by=operator)
    for address in ("/log/run/", f"/log/work/?fitting={shop.d1_on.pk}&action=flip", "/log/"):
        with CaptureQueriesContext(connection) as queries:
            page(phone, address)
        assert len(queries) <= 30, address


def test_a_start_and_hours_tell_the_end_of_yesterdays_run(phone: Client, shop: Shop) -> None:
    typed = numbers(shop, hours_h="7:30", seed="350", started_at="2026-03-02T07:00")
    assert phone.post("/log/run/", typed).status_code == 302
    run = Run.objects.get()
    # Vienna is an hour ahead of UTC in winter.
    assert (run.started_at, run.ends_at) == (at("2026-03-02 06:00"), at("2026-03-02 13:30"))


def test_a_question_speaks_the_units_of_who_is_asked(client: Client, shop: Shop, operator: User) -> None:
    operator.units = "us"
    operator.save()
    client.force_login(operator)
    for day in range(2, 6):
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=day), "10", "200")
    text = client.post(
        "/log/run/", numbers(shop, hours_h="10", seed="2,000", seed_unit="lb")
    ).content.decode()
    # 20 kg an hour is 44.1 lb an hour, 2,000 lb in 10 h is 200 (1 lb is 0.45359237 kg, NIST SP 811, B.8).
    assert "200 lb/h" in text
    assert "44.1 lb/h" in text
    assert "kg an hour" not in text


def test_on_a_twin_the_other_barrel_is_started_while_one_runs(phone: Client, shop: Shop) -> None:
    for barrel in ("left", "right"):
        typed = numbers(shop, press=str(shop.twin.pk), through=barrel, start="1")
        assert 'name="start"' in page(phone, f"/log/run/?press={shop.twin.pk}")
        assert phone.post("/log/run/", typed).status_code == 302
    assert sorted(Run.objects.values_list("through", "ends_at")) == [("left", None), ("right", None)]


def test_the_same_as_last_time_is_one_touch_and_the_button(phone: Client, shop: Shop, operator: User) -> None:
    ago = timezone.now() - timedelta(days=1)
    shop.run(shop.north, shop.sunflower, ago, "7.5", "412.5", by=operator)
    text = page(phone, f"/log/run/?press={shop.north.pk}")
    assert "Same as last time: 7.5 h, 412.5 kg of sunflower" in text
    form = page(phone, f"/log/run/?press={shop.north.pk}&same=1")
    assert re.search(r'name="hours_h" value="7.5"', form)
    assert re.search(r'name="seed" value="412.5"', form)
    answer = phone.post("/log/run/", numbers(shop, hours_h="7.5", seed="412.5", crop=str(shop.sunflower.pk)))
    assert answer.status_code == 302
    assert Run.objects.filter(seed_kg=Decimal("412.5"), hours_h=Decimal("7.5")).count() == 2


def test_the_same_as_last_time_never_guesses_what_the_meter_shows(
    phone: Client, shop: Shop, operator: User
) -> None:
    ago = timezone.now() - timedelta(days=2)
    shop.reading(shop.north, "100", ago)
    shop.run(shop.north, shop.rape, ago, None, "300", by=operator)
    Run.objects.update(ended_at=ago + timedelta(hours=6), ends_at=ago + timedelta(hours=6))
    shop.reading(shop.north, "106", ago + timedelta(hours=6))
    form = page(phone, f"/log/run/?press={shop.north.pk}&same=1")
    assert not re.search(r'name="meter_h" value', form)
    assert re.search(r'name="hours_h" value="6"', form)


def test_without_a_run_before_there_is_no_last_time(phone: Client, shop: Shop) -> None:
    assert "Same as last time" not in page(phone, f"/log/run/?press={shop.north.pk}")
    assert phone.get(f"/log/run/?press={shop.north.pk}&same=1").status_code == 200


def test_the_same_in_pounds_reads_as_it_was_typed(phone: Client, shop: Shop, operator: User) -> None:
    User.objects.filter(pk=operator.pk).update(units="us")
    ago = timezone.now() - timedelta(days=1)
    shop.run(shop.north, shop.rape, ago, "20", "317.514659", by=operator)  # 700 lb, NIST SP 811
    form = page(phone, f"/log/run/?press={shop.north.pk}&same=1")
    assert re.search(r'name="seed" value="700"', form)


def test_the_weight_of_a_bag_is_remembered_for_each_crop(phone: Client, shop: Shop) -> None:
    for crop, weight, start in ((shop.rape, "25", "06:00"), (shop.sunflower, "20,5", "14:00")):
        typed = numbers(shop, crop=str(crop.pk), seed="16", seed_unit="bag", bag=weight)
        answer = phone.post("/log/run/", {**typed, "started_at": f"2026-03-01T{start}", "hours_h": "8"})
        assert answer.status_code == 302, answer.content.decode()
    assert Run.objects.count() == 2
    text = flat(page(phone, f"/log/run/?press={shop.north.pk}"))
    assert "Last typed: sunflower 20.5 kg, rapeseed 25 kg." in text
    assert re.search(r'name="bag" value="20.5"', text)  # of sunflower, which was pressed last


def test_a_crop_whose_bag_was_never_weighed_has_no_weight_of_another(phone: Client, shop: Shop) -> None:
    typed = numbers(shop, seed="16", seed_unit="bag", bag="25")
    phone.post("/log/run/", {**typed, "started_at": "2026-03-01T06:00", "hours_h": "8"})
    shop.run(shop.north, shop.sunflower, timezone.now() - timedelta(hours=9), "8", "400")
    versions.touch()
    assert not re.search(r'name="bag" value="[^"]+"', page(phone, f"/log/run/?press={shop.north.pk}"))


def test_another_phone_knows_what_a_bag_of_the_crop_weighs(phone: Client, shop: Shop) -> None:
    typed = numbers(shop, seed="16", seed_unit="bag", bag="25")
    phone.post("/log/run/", {**typed, "started_at": "2026-03-01T06:00", "hours_h": "8"})
    shop.rape.refresh_from_db()
    assert shop.rape.bag_kg == Decimal(25)
    assert AuditEntry.objects.filter(record="crop").count() == 1
    other = Client()
    other.force_login(User.objects.create_user("second", role=Role.OPERATOR))
    text = flat(page(other, f"/log/run/?press={shop.north.pk}"))
    assert "Last typed: rapeseed 25 kg." in text
    assert re.search(r'name="bag" value="25"', text)
    other.post("/log/run/", {**typed, "ref": new_ref(), "started_at": "2026-03-01T15:00", "hours_h": "8"})
    assert Run.objects.count() == 2
    assert AuditEntry.objects.filter(record="crop").count() == 1, "the same weight is written once"


def test_the_weight_of_a_bag_makes_no_forecast_stale(phone: Client, shop: Shop) -> None:
    versions.touch()
    before = LogVersion.objects.values().get()
    log.remember_bag(by=None, at=timezone.now(), crop=shop.rape, bag_kg=Decimal(25))
    after = LogVersion.objects.values().get()
    assert {name for name in after if after[name] != before[name]} == {"number"}


@pytest.mark.parametrize(
    ("seed", "unit", "kg"),
    [("410 kg", "kg", 410), ("410kg", "kg", 410), ("0.4 t", "t", 400), ("16 bags", "bag", 400)],
)
def test_the_unit_may_stand_behind_the_seed(phone: Client, shop: Shop, seed: str, unit: str, kg: int) -> None:
    phone.post("/log/run/", numbers(shop, hours_h="8 hours", seed=seed, seed_unit=unit, bag="25 kg"))
    assert Run.objects.get().seed_kg == kg


def test_another_unit_than_the_one_chosen_is_refused(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/run/", numbers(shop, hours_h="8", seed="0.4 t", seed_unit="kg"))
    assert answer.status_code == 422
    assert "is not a number" in answer.content.decode()
