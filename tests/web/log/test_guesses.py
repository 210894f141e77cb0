""" "About" and "don't know" as answers, on the run's page, at its end, and on the sheets."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from tests.web.log.sheets import WEEK, hidden, page, text, week_of, words
from wearlog.people.models import User
from wearlog.runs.models import Run
from wearlog.web.site.forms import new_ref

VIENNA = ZoneInfo("Europe/Vienna")


def three_runs(shop: Shop) -> None:
    """50 kg an hour with the 5 mm die that sits on the north press."""
    for days in (5, 4, 3):
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=days), "8", "400")


def typed(shop: Shop, **more: str) -> dict[str, str]:
    numbers = {"ref": new_ref(), "press": str(shop.north.pk), "crop": str(shop.rape.pk), "seed_unit": "kg"}
    return numbers | more


class TestRun:
    def test_about_is_kept_as_about_and_the_log_says_so(self, phone: Client, shop: Shop) -> None:
        answer = phone.post("/log/run/", typed(shop, hours_h="8", seed="400", seed_how="about"), follow=True)
        assert Run.objects.get().seed_how == "about"
        assert "Saved: about 400 kg of rapeseed on North press" in text(answer)
        assert "about 400 kg rapeseed" in text(phone.get("/log/"))
        assert "about 400 kg rapeseed" in text(phone.get(f"/presses/{shop.north.pk}/"))

    def test_the_two_numbers_alone_are_weighed_as_ever(self, phone: Client, shop: Shop) -> None:
        phone.post("/log/run/", typed(shop, hours_h="8", seed="400"))
        assert Run.objects.get().seed_how == ""

    def test_unknown_seed_is_shown_worked_out_and_kept_with_a_yes(self, phone: Client, shop: Shop) -> None:
        three_runs(shop)
        entry = typed(shop, hours_h="7", seed="", seed_how="worked_out")
        answer = phone.post("/log/run/", entry)
        assert answer.status_code == 200
        assert "7 hours at 50 kg an hour, the middle of the last 3 runs" in text(answer)
        assert "with this die (5 mm), are 350 kg" in text(answer)
        assert Run.objects.filter(seed_how="worked_out").count() == 0
        phone.post("/log/run/", entry | {"confirm": "worked_out_350"})
        run = Run.objects.get(seed_how="worked_out")
        assert run.seed_kg == Decimal(350)
        assert "350 kg worked out rapeseed" in text(phone.get("/log/"))

    def test_a_reader_of_pounds_is_asked_in_pounds(self, phone: Client, shop: Shop, operator: User) -> None:
        """350 kg are 771.6 lb, 50 kg 110.2 lb, 5 mm 0.1969 in (NIST SP 811: 1 lb is 0.45359237 kg)."""
        three_runs(shop)
        User.objects.filter(pk=operator.pk).update(units="us")
        said = text(phone.post("/log/run/", typed(shop, hours_h="7", seed="", seed_how="worked_out")))
        assert "771.6 lb" in said
        assert "110" in said
        assert " kg" not in said.split("Worked out:")[1].split("comparison of speed")[0]

    def test_with_nothing_to_work_from_the_page_says_what_to_do_and_keeps_what_was_typed(
        self, phone: Client, shop: Shop
    ) -> None:
        answer = phone.post(
            "/log/run/", typed(shop, hours_h="7:30", seed="", seed_how="worked_out", note="late")
        )
        assert answer.status_code == 422
        assert "Write your best guess and choose “about”." in text(answer)
        for kept in ('value="7:30"', "late</textarea>"):
            assert kept in answer.content.decode()
        assert not Run.objects.exists()

    def test_an_amount_that_is_said_to_be_unknown_asks_which(self, phone: Client, shop: Shop) -> None:
        three_runs(shop)
        answer = phone.post("/log/run/", typed(shop, hours_h="7", seed="300", seed_how="worked_out"))
        assert answer.status_code == 422
        assert "Empty the amount, or choose “about”." in text(answer)

    def test_an_empty_amount_names_the_way_out(self, phone: Client, shop: Shop) -> None:
        answer = phone.post("/log/run/", typed(shop, hours_h="7", seed=""))
        assert "0 where it was none. Or choose “don't know”." in text(answer)

    def test_unknown_hours_go_by_the_clock(self, phone: Client, shop: Shop) -> None:
        entry = typed(shop, seed="400", not_read="on")
        answer = phone.post("/log/run/", entry)
        assert answer.status_code == 422
        assert "Write about when it started" in text(answer)
        began = timezone.now().astimezone(VIENNA) - timedelta(hours=6)
        phone.post("/log/run/", entry | {"started_at": began.strftime("%Y-%m-%dT%H:%M")})
        run = Run.objects.get()
        assert run.hours_h is None
        assert run.ended_at is not None
        assert run.ended_at - run.started_at < timedelta(hours=6, minutes=2)

    def test_hours_that_are_said_to_be_unknown_ask_which(self, phone: Client, shop: Shop) -> None:
        answer = phone.post("/log/run/", typed(shop, hours_h="7", seed="300", not_read="on"))
        assert answer.status_code == 422
        assert "You wrote hours and said that nobody knows them." in text(answer)

    def test_neither_number_is_known(self, phone: Client, shop: Shop) -> None:
        """8 hours by the clock at 50 kg."""
        three_runs(shop)
        began = timezone.now().astimezone(VIENNA) - timedelta(hours=8)
        entry = typed(shop, seed_how="worked_out", not_read="on", started_at=began.strftime("%Y-%m-%dT%H:%M"))
        assert "at 50 kg an hour" in text(phone.post("/log/run/", entry))

    def test_same_as_last_time_keeps_a_guess_a_guess(self, phone: Client, shop: Shop) -> None:
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=1), "8", "400")
        Run.objects.update(seed_how="worked_out")
        shown = page(phone, f"/log/run/?press={shop.north.pk}&same=1")
        assert re.search(r'name="seed_how" value="about"[^>]*checked', shown)

    def test_a_run_is_stopped_with_about(self, phone: Client, shop: Shop) -> None:
        run = shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=5), None, "0")
        answer = phone.post(
            f"/log/run/{run.pk}/stop/", {"seed": "240", "seed_unit": "kg", "seed_how": "about"}
        )
        assert answer.status_code == 302
        assert Run.objects.get().seed_how == "about"

    def test_a_guess_is_put_right_on_the_page_that_corrects(
        self, client: Client, shop: Shop, owner: User
    ) -> None:
        client.force_login(owner)
        run = shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=1), "8", "400")
        Run.objects.update(seed_how="about")
        address = f"/log/run/{run.pk}/correct/"
        shown = hidden(page(client, address))
        assert shown["seed_how"] == "about"
        client.post(address, shown | {"seed_kg": "412", "seed_how": "", "reason": "weighed", "lot": "L-7"})
        run.refresh_from_db()
        assert (run.seed_kg, run.seed_how) == (Decimal(412), "")


class TestSheet:
    def test_signs_of_the_paper_are_understood(self, phone: Client, shop: Shop) -> None:
        """`~400` is about 400; `?` is worked out: 9 hours at 50 kg."""
        for days in (5, 4, 3):
            start = datetime.fromisoformat(f"{WEEK}T06:00:00+01:00") - timedelta(days=days)
            shop.run(shop.north, shop.rape, start, "8", "400")
        form = hidden(page(phone, week_of(shop)))
        form |= {
            "line0-hours_h": "8",
            "line0-seed": "~ 400",
            "line0-until": "18:00",
            "line0-crop": str(shop.rape.pk),
        }
        form |= {
            "line1-hours_h": "9",
            "line1-seed": "?",
            "line1-until": "18:00",
            "line1-crop": str(shop.rape.pk),
        }
        answer = phone.post(week_of(shop), form)
        assert "are 450 kg" in words(answer.content.decode())
        assert 'value="?"' in answer.content.decode()
        phone.post(week_of(shop), form | {"line1-confirm": "worked_out_450"})
        new = Run.objects.exclude(seed_how="").order_by("started_at")
        assert [(run.seed_kg, run.seed_how) for run in new] == [
            (Decimal(400), "about"),
            (Decimal(450), "worked_out"),
        ]

    def test_the_choice_beside_the_seed_says_the_same_for_who_has_no_such_keys(
        self, phone: Client, shop: Shop
    ) -> None:
        form = hidden(page(phone, "/log/sheet/"))
        line = f"press{shop.north.pk}"
        form |= {f"{line}-hours_h": "8", f"{line}-seed": "400", f"{line}-crop": str(shop.rape.pk)}
        phone.post("/log/sheet/", form | {f"{line}-seed_how": "about"})
        assert Run.objects.get().seed_how == "about"

    def test_a_line_that_only_says_dont_know_is_not_an_empty_line(self, phone: Client, shop: Shop) -> None:
        form = hidden(page(phone, "/log/sheet/")) | {f"press{shop.north.pk}-seed_how": "worked_out"}
        answer = phone.post("/log/sheet/", form)
        assert answer.status_code == 422
        assert "Write the hours too, or empty the line." in words(answer.content.decode())


def test_a_parts_page_says_how_many_runs_were_guessed(phone: Client, shop: Shop) -> None:
    three_runs(shop)
    Run.objects.filter(pk=Run.objects.latest("started_at").pk).update(seed_how="about")
    assert "(1 of 3 runs were guessed)" in text(phone.get(f"/parts/{shop.d1.pk}/"))
