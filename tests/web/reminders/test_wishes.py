"""Marks on due items from the pages, one's reminder wishes, and the word on the clock."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.press_frames import frames_in, job_with, jobs_in
from wearlog.equipment.models import Fitting, Part, PartType
from wearlog.people.models import Mill, User
from wearlog.reminders.models import Mark, ReminderWish, Rhythm
from wearlog.reminders.schedule import clock
from wearlog.reminders.schedule import state as schedule_state
from wearlog.service.models import Rule


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def screw(shop: LookMill) -> str:
    """The address key of the screw that nobody has looked at for 61 days; it is overdue."""
    return f"{shop.look_rule.pk}.{shop.north.pk}.{shop.screw_place.pk}.{shop.screw.pk}.-"


@pytest.fixture
def at_press(client: Client, operator: User) -> Client:
    client.force_login(operator)
    return client


def squeezed(content: bytes) -> str:
    return re.sub(r"\s+", " ", content.decode())


def page(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return squeezed(answer.content)


def slip(text: str, heading: str) -> str:
    """The task with that heading: alone on its page, or its line in a list, and the caution of its press."""
    for frame in frames_in(text):
        if job := job_with(frame, heading):
            return frame.partition('<li class="job ')[0] + job
    return next(part for part in re.findall(r"<article.*?</article>", text) if heading in part)


def form(client: Client, key: str, **more: str) -> dict[str, str]:
    """What the page's form sends: the hidden names that it holds, and what is typed."""
    shown = page(client, f"/due/mark/?item={key}")
    name = re.search(r'name="key" value="(\w{64})"', shown)
    assert name
    return {"item": key, "key": name[1], **more}


def in_days(days: int) -> str:
    return (timezone.localdate() + timedelta(days=days)).isoformat()


class TestMarks:
    def test_seen_by_one_touch_in_the_list_is_shown_with_name_and_time(
        self, at_press: Client, screw: str
    ) -> None:
        before = slip(page(at_press, "/due/"), "Inspect screw S-01")
        sent = dict(re.findall(r'name="(item|key|next)" value="([^"]+)"', before))
        assert sent["item"] == screw
        answer = at_press.post("/due/mark/", {**sent, "do": "seen"})
        assert (answer.status_code, answer["Location"]) == (302, "/due/")
        after = page(at_press, "/due/")
        assert "Marked as seen" in after
        assert "Seen by Oskar," in slip(after, "Inspect screw S-01")
        assert "Seen by" not in slip(after, "Flip die D5-01")

    def test_touching_twice_is_one_mark(self, at_press: Client, screw: str) -> None:
        sent = form(at_press, screw, do="seen")
        for _ in range(2):
            at_press.post("/due/mark/", sent)
        assert Mark.objects.count() == 1

    def test_held_back_it_stays_in_sight_with_day_reason_and_caution(
        self, at_press: Client, screw: str
    ) -> None:
        sent = form(at_press, screw, do="hold", until_on=in_days(9), reason="The puller is lent out.")
        answer = at_press.post("/due/mark/", sent, follow=True)
        day = timezone.localdate() + timedelta(days=9)
        assert f"Held back until {day:%a} {day.day} {day:%b}." in squeezed(answer.content)
        for path in ("/", "/due/", f"/due/mark/?item={screw}"):
            shown = slip(page(at_press, path), "The puller is lent out.")
            assert "held back" in shown
            assert "by Oskar" in shown
            assert 'aria-label="WARNING"' in shown
        mark = Mark.objects.get()
        assert (mark.until_on, mark.made_by.username) == (day, "operator")

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ({"reason": "later"}, "Choose a day after today"),
            ({"reason": "later", "until_on": "2020-01-01"}, "Choose a day after today"),
            ({"reason": "later", "until_on": "someday"}, "is not a day"),
            ({"reason": "later", "until_on": "2199-01-01"}, "a year at most"),
            ({"until_on": "TOMORROW", "reason": " "}, "Say why it has to wait"),
        ],
    )
    def test_what_is_missing_is_named_and_what_was_typed_is_kept(
        self, at_press: Client, screw: str, typed: dict[str, str], says: str
    ) -> None:
        typed = {name: value.replace("TOMORROW", in_days(1)) for name, value in typed.items()}
        answer = at_press.post("/due/mark/", form(at_press, screw, do="hold", **typed))
        shown = squeezed(answer.content)
        assert answer.status_code == 422
        assert says in shown
        assert all(value.strip() in shown for value in typed.values())
        assert not Mark.objects.exists()

    def test_a_hold_is_taken_back_and_the_trail_keeps_both(self, at_press: Client, screw: str) -> None:
        at_press.post("/due/mark/", form(at_press, screw, do="hold", until_on=in_days(3), reason="No time."))
        mark = Mark.objects.get()
        at_press.post("/due/mark/", form(at_press, screw, do="back", mark=str(mark.pk)))
        assert "No time." not in page(at_press, "/due/")
        mark.refresh_from_db()
        assert mark.ended_by is not None
        assert mark.ended_by.username == "operator"

    def test_given_to_somebody_it_says_so(self, at_press: Client, screw: str, owner: User) -> None:
        at_press.post("/due/mark/", form(at_press, screw, do="give", person=str(owner.pk)))
        assert "Given to Olga" in slip(page(at_press, "/due/"), "Inspect screw S-01")

    def test_nobody_who_may_not_log_can_be_given_work(
        self, at_press: Client, screw: str, operator: User
    ) -> None:
        looker = User.objects.create_user("looker", name="Vera", role="viewer")
        assert "Vera" not in page(at_press, f"/due/mark/?item={screw}")
        answer = at_press.post("/due/mark/", form(at_press, screw, do="give", person=str(looker.pk)))
        assert answer.status_code == 422
        answer = at_press.post("/due/mark/", form(at_press, screw, do="give"))
        assert "Choose somebody who may log work here." in squeezed(answer.content)
        assert not Mark.objects.exists()

    def test_work_that_was_done_meanwhile_is_refused_in_words(self, at_press: Client, screw: str) -> None:
        answer = at_press.post("/due/mark/", {"item": screw, "key": "0" * 64, "do": "seen"}, follow=True)
        assert "That work is not due any more" in squeezed(answer.content)
        assert not Mark.objects.exists()

    def test_an_item_that_is_not_there_leads_to_the_list(self, at_press: Client, shop: LookMill) -> None:
        answer = at_press.get("/due/mark/?item=9.9.9.9.-", follow=True)
        assert answer.redirect_chain == [("/due/", 302)]
        assert "not in the forecast any more" in squeezed(answer.content)

    def test_who_only_looks_sees_marks_and_no_buttons(self, client: Client, screw: str, mill: Mill) -> None:
        looker = User.objects.create_user("looker", role="viewer")
        client.force_login(looker)
        assert 'name="do"' not in page(client, f"/due/mark/?item={screw}")
        assert 'name="do"' not in page(client, "/due/")
        assert client.post("/due/mark/", {"item": screw, "do": "seen"}).status_code == 403

    def test_the_job_cards_of_ticked_tasks_are_still_asked_for(self, at_press: Client, screw: str) -> None:
        """The ticks stand outside the form that they belong to, since each slip has a form of its own."""
        shown = page(at_press, "/due/")
        assert re.search(r'<form method="get" id="cards" action="/due/card/">', shown)
        assert f'name="item" form="cards" value="{screw}"' in shown
        assert re.search(r'<button class="button" form="cards">', shown)


class TestWishes:
    CHOSEN = {
        "rhythm": "daily",
        "from_time": "07:15",
        "weekdays": ["1", "3", "5"],
        "quiet_from": "21:00",
        "quiet_until": "06:30",
        "most_at_once": "3",
        "time_zone": "Europe/Lisbon",
    }

    def test_the_page_begins_with_the_defaults(self, at_press: Client) -> None:
        shown = page(at_press, "/me/reminders/")
        assert 'name="from_time" value="06:00"' in shown
        assert 'name="quiet_from" value="20:00"' in shown
        assert shown.count('name="weekdays"') == 7
        assert len(re.findall(r'name="weekdays"[^>]*checked', shown)) == 7
        assert not ReminderWish.objects.exists(), "looking saves nothing"

    def test_wishes_are_saved_and_shown_again(self, at_press: Client, operator: User) -> None:
        answer = at_press.post("/me/reminders/", self.CHOSEN, follow=True)
        shown = squeezed(answer.content)
        assert "Your wishes are saved." in shown
        wish = ReminderWish.objects.get()
        assert wish.person == operator
        assert (wish.rhythm, wish.from_time, wish.weekdays) == (Rhythm.DAILY, time(7, 15), "135")
        assert (wish.quiet_from, wish.quiet_until, wish.most_at_once) == (time(21), time(6, 30), 3)
        assert (wish.time_zone, wish.urgent_any_time) == ("Europe/Lisbon", False)
        assert 'name="from_time" value="07:15"' in shown
        assert len(re.findall(r'name="weekdays"[^>]*checked', shown)) == 3

    def test_a_second_change_keeps_one_row(self, at_press: Client) -> None:
        at_press.post("/me/reminders/", self.CHOSEN)
        at_press.post("/me/reminders/", {**self.CHOSEN, "rhythm": "weekly"})
        assert [wish.rhythm for wish in ReminderWish.objects.all()] == ["weekly"]

    @pytest.mark.parametrize(
        ("changed", "says"),
        [
            ({"weekdays": []}, "Choose at least one day of the week."),
            ({"from_time": "22:00"}, "22:00 lies in the quiet hours"),
            ({"from_time": "half past"}, "Write a time like 06:30."),
            ({"from_time": ""}, "Write a time like 06:30."),
            ({"quiet_until": ""}, "Quiet hours need a beginning and an end"),
            ({"quiet_until": "21:00"}, "can&#x27;t end when they begin"),
            ({"most_at_once": "0"}, "Write a number from 1 to 100000."),
            ({"rhythm": "hourly"}, "hourly is not one of the available choices"),
            ({"time_zone": "Moon/Base"}, "Moon/Base is not one of the available choices"),
        ],
    )
    def test_wishes_by_which_nothing_could_come_are_refused(
        self, at_press: Client, changed: dict[str, object], says: str
    ) -> None:
        answer = at_press.post("/me/reminders/", {**self.CHOSEN, **changed})
        assert answer.status_code == 422
        assert says in squeezed(answer.content)
        assert not ReminderWish.objects.exists()

    def test_it_is_reached_from_ones_settings(self, at_press: Client) -> None:
        assert 'href="/me/reminders/"' in page(at_press, "/me/")

    def test_who_only_looks_has_no_such_page(self, client: Client, mill: Mill) -> None:
        client.force_login(User.objects.create_user("looker", role="viewer"))
        assert client.get("/me/reminders/").status_code == 403
        assert "/me/reminders/" not in page(client, "/me/")


class TestClock:
    def test_it_says_that_all_is_well(self, client: Client, owner: User) -> None:
        client.force_login(owner)
        assert "Reminders are not paused for the clock." in page(client, "/reminders/clock/")

    def test_an_owner_lets_paused_reminders_go_on(self, client: Client, owner: User) -> None:
        now = timezone.now()
        schedule_state.put_back(clock.SEEN, now - timedelta(days=300))
        assert clock.check_clock(watch=clock.Watch(), at=now, steady_s=0.0) is not None
        client.force_login(owner)
        assert "Reminders are paused" in page(client, "/reminders/clock/")
        answer = client.post("/reminders/clock/", follow=True)
        assert "Reminders go on." in squeezed(answer.content)
        assert clock.current_doubt() is None

    def test_nobody_else_may(self, at_press: Client) -> None:
        assert at_press.get("/reminders/clock/").status_code == 403
        assert at_press.post("/reminders/clock/").status_code == 403


class TestOrders:
    @pytest.fixture
    def gearbox(self, shop: LookMill) -> str:
        """A gearbox to be replaced in 40 days whose successor takes 60 to come; its address key."""
        part_type = PartType.objects.create(code="G4", kind="gearbox", lead_time_days=60)
        part = Part.objects.create(code="G-01", part_type=part_type)
        # At noon, so that no change of the clocks since then moves it to another day.
        fitted_on = self.today() - timedelta(days=60)
        fitted_at = datetime.combine(fitted_on, time(12), Mill.current().zone)
        Fitting.objects.create(part=part, position=shop.gearbox_place, fitted_at=fitted_at)
        rule = Rule.objects.create(code="new gearbox", action="replace", kind="gearbox", every_days=100)
        return f"{rule.pk}.{shop.north.pk}.{shop.gearbox_place.pk}.{part.pk}.-"

    def today(self) -> date:
        return timezone.localdate(timezone=Mill.current().zone)

    def test_a_part_that_must_be_ordered_now_stands_in_the_list_though_the_work_can_wait(
        self, at_press: Client, gearbox: str
    ) -> None:
        """In 40 days less 60: twenty days ago."""
        day = self.today() - timedelta(days=20)
        for path in ("/due/", "/due/?state=order"):
            shown = slip(page(at_press, path), "Replace gearbox G-01")
            assert f"order by {day:%a} {day.day} {day:%b}" in shown
            assert "Later" in shown
            assert 'aria-label="WARNING"' in shown
        assert len(jobs_in(page(at_press, "/due/?state=order"))) == 1
        assert "Order the part (1)" in page(at_press, "/due/")

    def test_it_can_be_marked_as_seen(self, at_press: Client, gearbox: str) -> None:
        at_press.post("/due/mark/", form(at_press, gearbox, do="seen"))
        assert Mark.objects.get().telling == "order"

    def test_a_spare_on_the_shelf_takes_it_off_the_list(self, at_press: Client, gearbox: str) -> None:
        Part.objects.create(code="G-02", part_type=PartType.objects.get(code="G4"))
        assert "G-01" not in page(at_press, "/due/")
