"""Sessions by person: whoever ends them, and what ends them by itself, they end for good."""

from __future__ import annotations

from datetime import timedelta

import pytest
from celery import current_app
from django.contrib.sessions.backends.base import UpdateError
from django.test import Client
from django.utils import timezone

from tests.at_once import at_once
from tests.dates import at
from tests.mills.logbook_mill import somebody
from wearlog.logbook import actions
from wearlog.people import accounts, sessions, signin
from wearlog.people.models import AuditEntry, Role, Session, SignInLink, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.schedule import BEAT_SCHEDULE
from wearlog.people.sessions import SessionStore
from wearlog.people.tasks import clear_expired

NOW = at("2026-03-10 18:00")
PASSWORD = "a long barn door"


def signed_in(user: User, device: str = "Firefox on Android") -> Client:
    """A phone with a session of the person's."""
    phone = Client()
    phone.force_login(user)
    session = phone.session
    sessions.begin(session, at=NOW, device=device, by_link=False)
    session.save()
    return phone


def is_in(phone: Client) -> bool:
    return phone.get("/me/devices/").status_code == 200


def handle(phone: Client) -> str:
    key = phone.session.session_key
    assert key
    return sessions.handle_of(key)


def switch(user: User, *, on: bool, by: User) -> None:
    user.is_active = on
    actions.save_person(by=by, at=NOW, user=user)


# --- ending -----------------------------------------------------------------------------------------


def test_a_session_ended_by_its_person_leads_to_the_sign_in_and_no_other_does(operator: User) -> None:
    lost, kept = signed_in(operator, "Chrome on Android"), signed_in(operator)
    assert sessions.end(by=operator, at=NOW, person=operator, handle=handle(lost))
    answer = lost.get("/")
    assert answer.status_code == 302
    assert answer["Location"] == "/sign-in/?next=%2F"
    assert is_in(kept)
    row = AuditEntry.objects.get(action="end session")
    assert (row.by, row.record, row.record_id, row.old) == (
        operator,
        "user",
        operator.pk,
        {"device": "Chrome on Android"},
    )


def test_an_owner_ends_anothers_sessions_and_nobody_else_does(owner: User, operator: User) -> None:
    phone, maintainer = signed_in(operator), somebody(Role.MAINTAINER, "mira")
    with pytest.raises(NotAllowed, match="another person's devices"):
        sessions.end(by=maintainer, at=NOW, person=operator, handle=handle(phone))
    with pytest.raises(NotAllowed):
        sessions.end_all(by=maintainer, at=NOW, person=operator)
    assert is_in(phone)
    assert sessions.end_all(by=owner, at=NOW, person=operator) == 1
    assert not is_in(phone)
    assert AuditEntry.objects.get(action="end sessions").by == owner


def test_all_but_this_one_end_at_once_with_one_row(operator: User) -> None:
    here, *others = (signed_in(operator, name) for name in ("Edge on Windows", "Safari on iPhone", ""))
    assert sessions.end_all(by=operator, at=NOW, person=operator, but=here.session.session_key) == 2
    assert [is_in(phone) for phone in (here, *others)] == [True, False, False]
    row = AuditEntry.objects.get(action="end sessions")
    assert row.old is not None
    assert sorted(row.old["device"].split(", ")) == ["Safari on iPhone", "unknown"]


def test_ending_twice_says_so_and_writes_one_row(operator: User) -> None:
    gone = handle(signed_in(operator))
    ended = [sessions.end(by=operator, at=NOW, person=operator, handle=gone) for _ in range(2)]
    assert ended == [True, False]
    assert sessions.end_all(by=operator, at=NOW, person=operator) == 0
    assert AuditEntry.objects.filter(action__startswith="end session").count() == 1


def test_anothers_session_is_not_ended_through_ones_own_name(owner: User, operator: User) -> None:
    phone = signed_in(owner)
    assert not sessions.end(by=operator, at=NOW, person=operator, handle=handle(phone))
    assert is_in(phone)


def test_a_request_under_way_does_not_bring_an_ended_session_back(operator: User) -> None:
    phone = signed_in(operator)
    under_way = SessionStore(phone.session.session_key)
    under_way["due_before"] = ["1"]
    sessions.end_all(by=operator, at=NOW, person=operator)
    with pytest.raises(UpdateError):
        under_way.save()
    assert not is_in(phone)
    assert Session.objects.count() == 0


def test_no_key_of_a_session_is_kept_in_the_trail_or_shown_as_a_handle(operator: User) -> None:
    phone = signed_in(operator)
    key = str(phone.session.session_key)
    sessions.end_all(by=operator, at=NOW, person=operator)
    assert key not in str(list(AuditEntry.objects.values()))
    assert key not in sessions.handle_of(key)
    assert len(sessions.handle_of(key)) == 32


# --- switching off, passwords, links ------------------------------------------------------------------


def test_a_phone_is_not_back_when_its_person_is_switched_on_again(owner: User, operator: User) -> None:
    phone = signed_in(operator)
    switch(operator, on=False, by=owner)
    assert not is_in(phone)
    switch(operator, on=True, by=owner)
    assert not is_in(phone)
    assert Session.objects.filter(user=operator).count() == 0
    assert is_in(signed_in(operator))


def test_a_sign_in_under_way_while_its_person_is_switched_off_is_not_back_either(
    owner: User, operator: User
) -> None:
    """Its session was stored just after those of the person were ended."""
    stale = User.objects.get(pk=operator.pk)
    switch(operator, on=False, by=owner)
    phone = signed_in(stale)
    assert Session.objects.filter(user=operator).count() == 1
    switch(operator, on=True, by=owner)
    assert not is_in(phone)


def test_saving_a_person_who_stays_on_ends_nothing(owner: User, operator: User) -> None:
    phone = signed_in(operator)
    operator.name = "Oskar the miller"
    actions.save_person(by=owner, at=NOW, user=operator)
    assert is_in(phone)


def test_a_stale_copy_of_a_person_does_not_bring_old_sessions_back(owner: User, operator: User) -> None:
    stale = User.objects.get(pk=operator.pk)
    switch(operator, on=False, by=owner)
    switch(operator, on=True, by=owner)
    actions.save_person(by=owner, at=NOW, user=stale)
    assert User.objects.get(pk=operator.pk).session_generation == 1


def test_a_new_password_ends_every_session_and_the_links_that_wait(operator: User) -> None:
    phone = signed_in(operator)
    secret = signin.make_link(user=operator, at=NOW)
    accounts.save_person(by=operator, at=NOW, user=operator, password=PASSWORD)
    assert not is_in(phone)
    assert Session.objects.count() == 0
    with pytest.raises(Refused, match="too old"):
        signin.spend(secret=secret, at=NOW)


def test_a_new_link_voids_the_unused_ones_of_that_person_alone(owner: User, operator: User) -> None:
    first, second = (signin.make_link(user=operator, at=NOW) for _ in range(2))
    others = signin.make_link(user=owner, at=NOW)
    with pytest.raises(Refused, match="a newer one was made"):
        signin.spend(secret=first, at=NOW + timedelta(minutes=1))
    assert signin.spend(secret=second, at=NOW + timedelta(minutes=1)) == operator
    assert signin.spend(secret=others, at=NOW + timedelta(minutes=1)) == owner


@pytest.mark.django_db(transaction=True)
def test_of_two_links_made_at_once_one_works(shared: None) -> None:
    user = User.objects.create_user("owner", name="Olga", role=Role.OWNER)
    made = at_once(*[lambda: signin.make_link(user=user, at=NOW)] * 4)
    assert len({secret for secret in made if isinstance(secret, str)}) == 4, made
    assert SignInLink.objects.filter(expires_at__gt=NOW).count() == 1


@pytest.mark.django_db(transaction=True)
def test_who_is_switched_off_while_a_link_is_used_stays_out(shared: None) -> None:
    owner = User.objects.create_user("owner", name="Olga", role=Role.OWNER)
    for number in range(5):
        user = User.objects.create_user(f"oskar {number}", role=Role.OPERATOR)
        secret = signin.make_link(user=user, at=NOW)
        off = User.objects.get(pk=user.pk)
        in_, out = at_once(
            lambda secret=secret: signin.spend(secret=secret, at=NOW),
            lambda off=off: switch(off, on=False, by=owner),
        )
        assert out is None
        assert isinstance(in_, User | Refused), in_
        if isinstance(in_, User):
            phone = signed_in(in_)
            switch(off, on=True, by=owner)
            assert not is_in(phone)


# --- last use and lists -------------------------------------------------------------------------------


def test_use_is_noted_once_in_ten_minutes_and_touches_nothing_else(
    operator: User, django_assert_num_queries: pytest.FixtureRequest
) -> None:
    phone = signed_in(operator)
    key = phone.session.session_key
    for minutes, queries in ((9, 0), (10, 1), (15, 0), (20, 1)):
        store = SessionStore(key)
        store.get("anything")
        with django_assert_num_queries(queries):  # type: ignore[operator]
            sessions.note_use(store, at=NOW + timedelta(minutes=minutes))
    assert Session.objects.get().used_at == NOW + timedelta(minutes=20)


def test_what_another_request_noted_outlives_a_change_of_the_session(operator: User) -> None:
    phone = signed_in(operator)
    slow = SessionStore(phone.session.session_key)
    slow["due_before"] = ["1"]
    sessions.note_use(SessionStore(phone.session.session_key), at=NOW + timedelta(hours=1))
    slow.save()
    kept = Session.objects.get()
    assert kept.used_at == NOW + timedelta(hours=1)
    assert (kept.device, kept.signed_in_at, kept.user) == ("Firefox on Android", NOW, operator)
    assert kept.get_decoded()["due_before"] == ["1"]


def test_the_list_begins_with_what_was_used_last_and_leaves_out_what_has_run_out(operator: User) -> None:
    for device in ("first", "second", "third", "over"):
        signed_in(operator, device)
    Session.objects.filter(device="over").update(expire_date=NOW)
    Session.objects.filter(device="second").update(used_at=NOW + timedelta(minutes=30))
    Session.objects.filter(device="third").update(signed_in_at=None)
    assert [each.device for each in sessions.not_expired(operator, at=NOW)] == ["second", "first", "third"]


def test_the_schedule_clears_sessions_that_have_run_out(operator: User) -> None:
    phone = signed_in(operator)
    signed_in(operator)
    Session.objects.exclude(handle=handle(phone)).update(expire_date=timezone.now() - timedelta(seconds=1))
    assert (clear_expired(), clear_expired()) == (1, 0)
    assert is_in(phone)


def test_the_clearing_is_scheduled_and_its_task_is_known() -> None:
    assert [entry["task"] for entry in BEAT_SCHEDULE.values()] == [clear_expired.name]
    assert BEAT_SCHEDULE.items() <= current_app.conf.beat_schedule.items()
    assert clear_expired.name in current_app.tasks


# --- those from before --------------------------------------------------------------------------------
