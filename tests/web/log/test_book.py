"""The whole log, the history of a record, correcting and striking out."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.dates import at
from tests.mills.log_shop import MORNING, Shop, form_of
from tests.web.html import flat
from wearlog.equipment.models import Fitting
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.runs.models import Run
from wearlog.service.models import Incident, Measurement, Service
from wearlog.web.log.views.lines import PAGE


@pytest.fixture
def maintainer(mill: Mill) -> User:
    return User.objects.create_user("maintainer", name="Mara", role=Role.MAINTAINER)


@pytest.fixture
def desk(client: Client, maintainer: User) -> Client:
    client.force_login(maintainer)
    return client


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def test_every_kind_of_record_stands_in_one_order_of_time(desk: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    shop.reading(shop.north, "107.5", MORNING + timedelta(hours=8))
    Incident.objects.create(
        ref="i", press=shop.north, kind="plugged", happened_at=MORNING + timedelta(hours=2)
    )
    service = Service.objects.create(
        ref="s", press=shop.north, action="polish", part=shop.s1, done_at=MORNING + timedelta(hours=9)
    )
    Measurement.objects.create(
        ref="m", part=shop.s1, value_mm=Decimal("59.8"), service=service, measured_at=service.done_at
    )
    actions.leave_note(by=None, at=MORNING + timedelta(hours=10), text="Runs well.", by_name="Oskar")
    text = page(desk, "/log/")
    order = [
        "Runs well.",
        "Polished screw S-1",
        "S-1: 59.80 mm",
        "Meter at 107.5 h",
        "Plugged",
        "350 kg rapeseed",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "die D-1, edge A on die" in text


def test_the_log_is_paged_without_losing_or_repeating_a_line(desk: Client, shop: Shop) -> None:
    for number in range(PAGE + 15):
        shop.run(shop.twin, shop.rape, MORNING + timedelta(days=number), "1", "10")
    Run.objects.update(voided_at=MORNING)  # so that they may share an instant
    Run.objects.update(started_at=MORNING)
    seen: list[str] = []
    address = "/log/?kind=run"
    for _ in range(5):
        text = page(desk, address)
        seen += [part.split("/", 1)[0] for part in text.split('href="/log/run/')[1:] if part[0].isdigit()]
        if "Older</a>" not in text:
            break
        older = re.findall(r'class="button" href="([^"]+)">Older', text)[0]
        address = "/log/" + older.replace("&amp;", "&")
    assert len(seen) == PAGE + 15
    assert len(set(seen)) == PAGE + 15


def test_filters_narrow_by_press_kind_and_days(desk: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    shop.run(shop.twin, shop.rape, MORNING, "7.5", "351")
    shop.run(shop.north, shop.rape, MORNING + timedelta(days=3), "7.5", "352")
    assert "351 kg" not in page(desk, f"/log/?press={shop.north.pk}")
    only = page(desk, f"/log/?press={shop.north.pk}&kind=run&first=2026-03-04&last=2026-03-05")
    assert "352 kg" in only
    assert "350 kg" not in only
    assert "Nothing in the log matches that." in page(desk, "/log/?kind=incident")


def test_a_filter_that_makes_no_sense_is_passed_over(desk: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    assert "350 kg" in page(desk, "/log/?press=x&kind=wheel&first=soon&below=nothing")


def test_a_correction_needs_a_reason_and_keeps_the_old_values(
    desk: Client, shop: Shop, maintainer: User
) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "3500")
    form = form_of(page(desk, f"/log/run/{run.pk}/correct/"))
    without = desk.post(f"/log/run/{run.pk}/correct/", {**form, "seed_kg": "350"})
    assert "Write why; the reason is kept with the record." in without.content.decode()
    answer = desk.post(
        f"/log/run/{run.pk}/correct/", {**form, "seed_kg": "350", "reason": "one zero too many"}
    )
    assert answer.headers["Location"] == f"/log/run/{run.pk}/"
    run.refresh_from_db()
    assert (run.seed_kg, run.hours_h, run.lot) == (Decimal("350"), Decimal("7.5"), "L-7")
    text = flat(page(desk, f"/log/run/{run.pk}/"))
    assert "one zero too many" in text
    assert "<dt>Seed pressed (kg)</dt><dd><del>3500</del> → 350" in text
    assert "Mara" in text


def test_a_form_that_changes_nothing_says_so(desk: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    form = form_of(page(desk, f"/log/run/{run.pk}/correct/"))
    answer = desk.post(f"/log/run/{run.pk}/correct/", {**form, "reason": "just looking"})
    assert "Nothing is changed yet." in answer.content.decode()
    assert AuditEntry.objects.filter(action="correct").count() == 0


def test_showing_in_pounds_and_correcting_the_note_leaves_the_kilograms_as_they_were(
    desk: Client, shop: Shop, maintainer: User
) -> None:
    maintainer.units = "us"
    maintainer.save()
    run = shop.run(shop.north, shop.rape, MORNING, "7.333333", "333.123457")
    form = form_of(page(desk, f"/log/run/{run.pk}/correct/"))
    desk.post(f"/log/run/{run.pk}/correct/", {**form, "lot": "L-8", "reason": "lot was wrong"})
    run.refresh_from_db()
    assert (run.lot, run.seed_kg, run.hours_h) == ("L-8", Decimal("333.123457"), Decimal("7.333333"))


def test_a_record_that_changed_since_it_was_opened_is_not_overwritten(desk: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    form = form_of(page(desk, f"/log/run/{run.pk}/correct/"))
    actions.correct(
        by=None, at=timezone.now(), record=run, changes={"seed_kg": Decimal(360)}, reason="scale ticket"
    )
    answer = desk.post(f"/log/run/{run.pk}/correct/", {**form, "seed_kg": "370", "reason": "guess"})
    assert answer.status_code == 422
    assert "Somebody has changed this record since you opened it." in answer.content.decode()
    run.refresh_from_db()
    assert run.seed_kg == Decimal("360")


def test_each_kind_of_record_can_be_corrected(desk: Client, shop: Shop) -> None:
    reading = shop.reading(shop.north, "107.5")
    incident = Incident.objects.create(ref="i", press=shop.north, kind="plugged", happened_at=MORNING)
    service = Service.objects.create(ref="s", press=shop.north, action="clean", done_at=MORNING)
    gauge = Measurement.objects.create(ref="m", part=shop.s1, value_mm=Decimal("59.8"), measured_at=MORNING)
    note = actions.leave_note(by=None, at=MORNING, text="Runs wel.", by_name="Oskar")
    for kind, record, typed in (
        ("reading", reading, {"meter_h": "108"}),
        ("incident", incident, {"kind": "metal"}),
        ("work", service, {"labour_h": "0:45"}),
        ("measurement", gauge, {"value_mm": "59,9"}),
        ("fitting", shop.d1_on, {"fitted_at": "2026-01-31T08:00"}),
        ("note", note, {"text": "Runs well."}),
    ):
        address = f"/log/{kind}/{record.pk}/correct/"
        form = form_of(page(desk, address))
        answer = desk.post(address, {**form, **typed, "reason": "typed wrongly"})
        assert answer.status_code == 302, (kind, answer.content.decode())
    reading.refresh_from_db()
    service.refresh_from_db()
    gauge.refresh_from_db()
    shop.d1_on.refresh_from_db()
    assert (reading.meter_h, service.labour_h, gauge.value_mm) == (
        Decimal("108"),
        Decimal("0.75"),
        Decimal("59.9"),
    )
    assert shop.d1_on.fitted_at == at("2026-01-31 07:00")  # Vienna is an hour ahead of UTC in winter


def test_striking_out_needs_a_reason_and_leaves_the_record_readable(desk: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    assert desk.post(f"/log/run/{run.pk}/void/", {"reason": ""}).status_code == 422
    desk.post(f"/log/run/{run.pk}/void/", {"reason": "entered twice"})
    run.refresh_from_db()
    assert run.voided_at is not None
    text = page(desk, "/log/")
    assert "<s>350 kg rapeseed, 7.5 h, lot L-7</s>" in text
    assert "Crossed out: entered twice" in text
    assert "This record is crossed out." in page(desk, f"/log/run/{run.pk}/correct/")


def test_an_operator_puts_right_their_own_entries_of_two_days_and_no_others(
    client: Client, shop: Shop, operator: User
) -> None:
    client.force_login(operator)
    own = shop.run(shop.north, shop.rape, MORNING, "7.5", "350", by=operator)
    Run.objects.filter(pk=own.pk).update(entered_at=timezone.now() - timedelta(hours=20))
    other = shop.run(shop.twin, shop.rape, MORNING, "7.5", "351")
    assert client.post(f"/log/run/{own.pk}/void/", {"reason": "twice"}).status_code == 302
    assert client.post(f"/log/run/{other.pk}/void/", {"reason": "twice"}).status_code == 403
    other.refresh_from_db()
    assert other.voided_at is None
    assert "Ask a maintainer to change this one." in page(client, f"/log/run/{other.pk}/correct/")


def test_the_log_leads_to_each_entry_and_only_there_it_is_changed(desk: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    text = page(desk, "/log/")
    assert f'href="/log/run/{run.pk}/"' in text
    assert "/correct/" not in text
    assert "/void/" not in text
    entry = page(desk, f"/log/run/{run.pk}/")
    assert f"/log/run/{run.pk}/correct/" in entry
    assert f"/log/run/{run.pk}/void/" in entry


def test_a_viewer_reads_the_log_and_changes_nothing(client: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    text = page(client, "/log/")
    assert "350 kg" in text
    assert "/void/" not in text
    assert "350 kg" in page(client, f"/log/run/{run.pk}/")
    assert client.post(f"/log/run/{run.pk}/void/", {"reason": "x"}).status_code == 403
    assert client.post(f"/log/run/{run.pk}/correct/", {"reason": "x"}).status_code == 403


def test_what_does_not_exist_is_not_found(desk: Client, shop: Shop) -> None:
    for address in ("/log/run/999/", "/log/wheel/1/correct/", "/log/run/999/void/", "/lots/999/release/"):
        assert desk.get(address).status_code == 404


def test_striking_out_a_flip_puts_the_die_back(desk: Client, shop: Shop) -> None:
    now = timezone.now()
    actions.flip(by=None, at=now, expected_fitting_id=shop.d1_on.pk, moved_at=now, to_edge="B")
    flipped = Fitting.objects.open().get(position=shop.die_place)
    assert "is taken back" in page(desk, f"/log/fitting/{flipped.pk}/void/")
    desk.post(f"/log/fitting/{flipped.pk}/void/", {"reason": "wrong press"})
    back = Fitting.objects.open().get(position=shop.die_place)
    assert (back.part, back.edge) == (shop.d1, "A")


def test_a_record_leads_to_what_belongs_to_it(desk: Client, shop: Shop) -> None:
    service = Service.objects.create(
        ref="s", press=shop.north, action="polish", part=shop.s1, done_at=MORNING
    )
    gauge = Measurement.objects.create(
        ref="m", part=shop.s1, value_mm=Decimal("59.8"), service=service, measured_at=MORNING
    )
    assert f'href="/log/measurement/{gauge.pk}/"' in page(desk, f"/log/work/{service.pk}/")
    assert f'href="/log/work/{service.pk}/"' in page(desk, f"/log/measurement/{gauge.pk}/")
