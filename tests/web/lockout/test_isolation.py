"""The pages on which people state who locked what."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.lockout.models import EnergySource, Isolation, Lock, ReleaseStatement
from wearlog.people.models import Mill, Role, User
from wearlog.service.models import Service
from wearlog.web.site.forms import new_ref


class Yard:
    """Anna and Ben at the north press, each at their own phone, and Olga who owns."""

    def __init__(self, owner: User) -> None:
        self.shop = Shop()
        self.press = self.shop.north
        self.motor = EnergySource.objects.create(
            press=self.press,
            source="Main motor",
            kind="electrical",
            isolate_at="Q1 at the door",
            verify_by="press start",
        )
        self.heater = EnergySource.objects.create(press=self.press, source="Heater", kind="electrical")
        self.anna = User.objects.create_user("anna", name="Anna", role=Role.OPERATOR)
        self.ben = User.objects.create_user("ben", name="Ben", role=Role.OPERATOR)
        self.olga = owner
        self.page = f"/presses/{self.press.pk}/isolation/"

    def phone(self, user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    def put_on(self, user: User, **typed: object) -> Lock:
        pk = self.motor.pk
        answer = self.phone(user).post(
            self.page + "lock/",
            {
                "ref": new_ref(),
                "work": "flip the die",
                f"use-{pk}": "on",
                f"number-{pk}": "7",
                f"how-{pk}": "press start",
                **typed,
            },
        )
        assert answer.status_code == 302, answer.content.decode()
        lock: Lock = Lock.objects.latest("pk")
        return lock

    def read(self, user: User, address: str = "") -> str:
        answer = self.phone(user).get(address or self.page)
        assert answer.status_code == 200, answer.status_code
        return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


@pytest.fixture
def yard(mill: Mill, owner: User) -> Yard:
    return Yard(owner)


def test_nothing_is_said_of_a_press_but_what_was_stated(yard: Yard) -> None:
    text = yard.read(yard.anna)
    assert "No lock is recorded on this press." in text
    assert "This page tells what people stated. It knows nothing of the machine" in text


def test_a_lock_is_put_on_with_a_tick_and_its_number(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    assert (lock.holder, lock.number, lock.place, lock.verified_at) == (
        yard.anna,
        "7",
        "Q1 at the door",
        None,
    )
    text = yard.read(yard.anna)
    assert "Stopped for: flip the die." in text
    assert "Not stated as verified yet." in text
    assert "No lock is recorded on: Heater" in text


def test_what_was_verified_is_told_as_stated(yard: Yard) -> None:
    pk = yard.motor.pk
    lock = yard.put_on(yard.anna, **{f"verified-{pk}": "on", f"how-{pk}": "pressed start, nothing moved"})
    assert lock.verified_how == "pressed start, nothing moved"
    assert "pressed start, nothing moved" in yard.read(yard.ben)


def test_the_proof_that_is_recorded_is_proposed_and_not_ticked(yard: Yard) -> None:
    html = yard.phone(yard.anna).get(yard.page + "lock/").content.decode()
    assert 'value="press start"' in html
    assert "checked" not in html


def test_the_next_time_the_lock_is_filled_in(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    yard.phone(yard.anna).post(
        yard.page + "off/", {"locks": lock.pk, "why": "self", "stated": ["look", "clear"]}
    )
    html = yard.phone(yard.anna).get(yard.page + "lock/").content.decode()
    assert f'name="number-{yard.motor.pk}" value="7"' in html


def test_what_was_typed_stays_where_something_is_missing(yard: Yard) -> None:
    pk = yard.motor.pk
    answer = yard.phone(yard.anna).post(
        yard.page + "lock/",
        {"ref": new_ref(), "work": "flip the die", f"use-{pk}": "on", f"number-{pk}": ""},
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "Main motor: write the number on the lock" in text
    assert 'value="flip the die"' in text
    assert not Lock.objects.exists()


def test_a_proof_without_a_lock_is_asked_about(yard: Yard) -> None:
    pk = yard.heater.pk
    answer = yard.phone(yard.anna).post(
        yard.page + "lock/", {"ref": new_ref(), "work": "w", f"verified-{pk}": "on", f"how-{pk}": "looked"}
    )
    assert answer.status_code == 422
    assert "Tick your lock too" in answer.content.decode()


def test_everybody_sees_somebody_elses_lock_on_the_day_the_press_and_the_work_page(yard: Yard) -> None:
    yard.put_on(yard.anna)
    warning = "North press: a lock of Anna is recorded as being on. Somebody may be inside."
    work = f"/log/work/?press={yard.press.pk}&fitting={yard.shop.d1_on.pk}&action=polish"
    for address in ("/", f"/presses/{yard.press.pk}/", work, f"/log/crop-change/?press={yard.press.pk}"):
        assert warning in yard.read(yard.ben, address), address
    assert "your lock is recorded as being on" in yard.read(yard.anna, "/")
    assert "Anna" not in yard.read(yard.ben, f"/log/work/?press={yard.shop.twin.pk}")


def test_nobody_is_offered_to_take_off_the_lock_of_somebody_else(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    html = yard.phone(yard.ben).get(yard.page).content.decode()
    assert "I take my lock off" not in html
    assert f"/locks/{lock.pk}/" not in html
    assert "No lock of yours is recorded" in yard.read(yard.ben, yard.page + "off/")
    answer = yard.phone(yard.ben).post(yard.page + "off/", {"locks": lock.pk, "why": "self"})
    assert answer.status_code == 422
    lock.refresh_from_db()
    assert lock.is_fitted


def test_with_the_last_lock_two_steps_are_ticked_and_then_the_work_is_ended(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    phone = yard.phone(yard.anna)
    answer = phone.post(yard.page + "off/", {"locks": lock.pk, "why": "self", "stated": ["look"]})
    assert answer.status_code == 422
    assert "see that everybody stands clear" in answer.content.decode()
    assert phone.post(
        yard.page + "off/", {"locks": lock.pk, "why": "self", "stated": ["look", "clear"]}
    ).headers["Location"] == (yard.page)
    assert "nobody has stated the steps before a restart" in yard.read(yard.ben, "/")
    assert phone.post(yard.page + "end/", {"stated": ["look", "clear", "unlock"]}).status_code == 422
    assert phone.post(yard.page + "end/", {"stated": ["look", "clear", "unlock", "tell"]}).status_code == 302
    assert Isolation.objects.get().ended_by == yard.anna
    text = yard.read(yard.ben)
    assert "No lock is recorded on this press." in text
    assert "Ended as stated by Anna." in text


def test_a_hand_over_names_both_and_is_confirmed_by_who_comes(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    answer = yard.phone(yard.anna).post(
        yard.page + "hand-over/", {"locks": lock.pk, f"number-{lock.pk}": "21", "to": yard.ben.pk}
    )
    assert answer.status_code == 302, answer.content.decode()
    new = Lock.objects.get(holder=yard.ben)
    text = yard.read(yard.ben)
    assert "Anna handed Main motor over to you. Is your lock 21 on?" in text
    assert "Taken over from Anna (not confirmed yet)" in text
    assert yard.phone(yard.anna).post(f"/locks/{new.pk}/confirm/", follow=True).status_code == 200
    new.refresh_from_db()
    assert new.confirmed_at is None, "nobody confirms for somebody else"
    yard.phone(yard.ben).post(f"/locks/{new.pk}/confirm/")
    new.refresh_from_db()
    assert new.confirmed_at is not None


def test_a_hand_over_without_the_other_lock_or_person_says_so(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    answer = yard.phone(yard.anna).post(yard.page + "hand-over/", {"locks": lock.pk, "to": yard.ben.pk})
    assert answer.status_code == 422
    assert "Write the number on the lock that is on now" in answer.content.decode()
    answer = yard.phone(yard.anna).post(
        yard.page + "hand-over/", {"locks": lock.pk, f"number-{lock.pk}": "21"}
    )
    assert answer.status_code == 422
    assert "Say to whom you hand over" in answer.content.decode()


def test_the_owner_answers_for_a_forgotten_lock_and_its_person_reads_it_on_the_day_page(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    typed = {"reason": "harvest", "not_here": "went round", "contact": "phoned", "stated": ["look", "clear"]}
    address = f"/locks/{lock.pk}/for-another/"
    assert yard.phone(yard.ben).post(address, typed).status_code == 403
    assert yard.phone(yard.olga).post(address, {**typed, "contact": ""}).status_code == 422
    assert yard.phone(yard.olga).post(address, typed).status_code == 302
    told = "Your lock 7 on Main motor of North press was taken off by Olga while you were not there."
    assert told in yard.read(yard.anna, "/")
    assert told not in yard.read(yard.ben, "/")
    assert "Anna must be told before they work here again" in yard.read(yard.ben)
    yard.phone(yard.ben).post(f"/locks/{lock.pk}/told/")
    assert "must be told" in yard.read(yard.ben), "not for Ben to say"
    yard.phone(yard.anna).post(f"/locks/{lock.pk}/told/")
    assert "must be told" not in yard.read(yard.ben)


def test_a_contractor_is_named_with_the_firm(yard: Yard) -> None:
    yard.put_on(yard.anna, name="Emil Exempel", firm="Wires")
    text = yard.read(yard.ben)
    assert "Emil Exempel (Wires)" in text
    assert "Not yours: a lock of Emil Exempel is recorded as being on." in text


def test_a_lock_on_something_that_is_not_listed(yard: Yard) -> None:
    typed: dict[str, object] = {"use-other": "on", "source_name": "Valve V3", "number-other": "9"}
    lock = yard.put_on(yard.anna, **typed)
    assert (lock.source, lock.source_name, lock.number) == (None, "Valve V3", "9")


def test_a_number_is_corrected_and_a_mistake_struck_out(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    address = f"/locks/{lock.pk}/correct/"
    typed = {"number": "17", "place": "Q1", "reason": "misread"}
    assert yard.phone(yard.ben).post(address, typed).status_code == 403
    assert yard.phone(yard.anna).post(address, typed).status_code == 302
    assert yard.phone(yard.anna).post(address, {**typed, "strike": "1"}).status_code == 302
    lock.refresh_from_db()
    assert (lock.number, lock.is_fitted, lock.void_reason) == ("17", False, "misread")


# -------- work and its release


def work_of(yard: Yard, **typed: object) -> dict[str, object]:
    return {
        "ref": new_ref(),
        "press": yard.press.pk,
        "position": yard.shop.screw_place.pk,
        "fitting": yard.shop.s1_on.pk,
        "action": "clean",
        **typed,
    }


def test_work_under_somebody_elses_lock_is_refused_and_what_was_typed_stays(yard: Yard) -> None:
    yard.put_on(yard.anna)
    answer = yard.phone(yard.ben).post("/log/work/", work_of(yard, finding="a bolt"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Still recorded as being on: lock 7 of Anna on Main motor." in text
    assert "a bolt" in text
    assert not Service.objects.exists()


def test_the_work_page_asks_for_the_steps_before_a_restart_and_keeps_who_stated_them(yard: Yard) -> None:
    page = f"/log/work/?press={yard.press.pk}&fitting={yard.shop.s1_on.pk}&action=clean"
    assert "Before the press may run again Take all tools out and see that the machine is whole" in yard.read(
        yard.anna, page
    )
    answer = yard.phone(yard.anna).post("/log/work/", work_of(yard, release_stated="1"))
    assert answer.status_code == 302, answer.content.decode()
    statement = ReleaseStatement.objects.get()
    assert (statement.by, statement.service.action) == (yard.anna, "clean")
    assert "tell everybody concerned that the locks are off" in statement.stated
    record = f"/log/work/{statement.service.pk}/"
    assert "Anna stated the steps before a restart" in yard.read(yard.ben, record)


def test_without_the_tick_nothing_is_kept_as_stated(yard: Yard) -> None:
    yard.phone(yard.anna).post("/log/work/", work_of(yard))
    assert Service.objects.count() == 1
    assert not ReleaseStatement.objects.exists()


def test_under_ones_own_lock_the_steps_are_asked_about_before_the_work_is_kept(yard: Yard) -> None:
    yard.put_on(yard.anna)
    answer = yard.phone(yard.anna).post("/log/work/", work_of(yard))
    text = answer.content.decode()
    assert "Your lock is recorded on Main motor. Does it stay on for now?" in text
    assert not Service.objects.exists()


def test_a_viewer_reads_and_states_nothing(yard: Yard) -> None:
    viewer = User.objects.create_user("vera", role=Role.VIEWER)
    yard.put_on(yard.anna)
    assert "I put my lock on" not in yard.read(viewer)
    assert yard.phone(viewer).post(yard.page + "lock/", {}).status_code == 403


def test_reading_writes_nothing(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    before = (Lock.objects.values().get(), Isolation.objects.values().get())
    for address in ("", "lock/", "off/", "hand-over/", "end/"):
        yard.phone(yard.anna).get(yard.page + address)
    for address in ("confirm/", "told/", "verify/", "correct/"):
        yard.phone(yard.anna).get(f"/locks/{lock.pk}/{address}")
    assert (Lock.objects.values().get(), Isolation.objects.values().get()) == before


def test_a_past_isolation_stays_readable(yard: Yard) -> None:
    since = timezone.now() - timedelta(days=3)
    isolation = Isolation.objects.create(
        ref="old",
        press=yard.press,
        work="grease",
        lead="Anna",
        begun_at=since,
        ended_at=since + timedelta(hours=1),
        ended_by=yard.anna,
        ended_by_name="Anna",
        stated="steps",
    )
    Lock.objects.create(
        ref="old-1",
        isolation=isolation,
        source_name="Main motor",
        number="7",
        holder=yard.anna,
        holder_name="Anna",
        fitted_at=since,
        off_at=since + timedelta(minutes=50),
        off_how="self",
        off_by=yard.anna,
        off_by_name="Anna",
    )
    text = yard.read(yard.ben)
    assert "grease" in text
    assert "Main motor: lock 7, Anna, on" in text


def test_every_page_about_locks_shows_the_caution_of_its_press(yard: Yard) -> None:
    lock = yard.put_on(yard.anna)
    pages = [yard.page + end for end in ("", "lock/", "off/", "hand-over/", "end/")]
    pages += [f"/locks/{lock.pk}/{end}" for end in ("for-another/", "verify/", "correct/")]
    for address in pages:
        text = yard.read(yard.olga, address)
        assert "WARNING" in text, address
        assert "The screw can start by itself" in text, address
        assert "Main motor (electrical): isolate at Q1 at the door; verify: press start" in text, address
