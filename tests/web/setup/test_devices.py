"""Where somebody is signed in: the page of one's own devices, and an owner's of a person."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.people import sessions
from wearlog.people.models import AuditEntry, Role, Session, User
from wearlog.people.signin import make_link

PHONE = "Mozilla/5.0 (Android 14; Mobile; rv:130.0) Gecko/130.0 Firefox/130.0"
DESK = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:130.0) Gecko/20100101 Firefox/130.0"


def signed_in(user: User, browser: str) -> Client:
    """Signed in by a link, as a person does it."""
    client = Client(HTTP_USER_AGENT=browser)
    client.post(f"/sign-in/{make_link(user=user, at=timezone.now())}/")
    return client


@pytest.fixture
def here(operator: User) -> Client:
    return signed_in(operator, DESK)


@pytest.fixture
def lost(operator: User) -> Client:
    return signed_in(operator, PHONE)


def read(client: Client, address: str = "/me/devices/") -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def handles(page: str) -> list[str]:
    """What the buttons of the page name, in their order."""
    return re.findall(r'name="device" value="([0-9a-f]{32})"', page)


def test_the_page_lists_each_device_and_marks_the_one_that_shows_it(here: Client, lost: Client) -> None:
    page = read(here)
    assert "<strong>Firefox on Windows</strong> · this device" in page
    assert "<strong>Firefox on Android</strong></p>" in page
    assert page.index("Firefox on Windows") < page.index("Firefox on Android")
    assert len(handles(page)) == 2
    assert str(lost.session.session_key) not in page
    assert read(lost).index("Firefox on Android") < read(lost).index("Firefox on Windows")


def test_ones_own_settings_lead_there_for_every_role(client: Client, operator: User) -> None:
    for role in Role:
        User.objects.filter(pk=operator.pk).update(role=role)
        client.force_login(operator)
        assert 'href="/me/devices/"' in read(client, "/me/")
        assert "· this device" in read(client)


def test_a_lost_phone_is_signed_out_and_this_device_stays(here: Client, lost: Client) -> None:
    gone = handles(read(here))[1]
    answer = here.post("/me/devices/", {"device": gone}, follow=True)
    assert "Signed out" in answer.content.decode()
    assert lost.get("/")["Location"] == "/sign-in/?next=%2F"
    assert handles(read(here)) == [sessions.handle_of(str(here.session.session_key))]
    again = here.post("/me/devices/", {"device": gone}, follow=True)
    assert "signed out already" in again.content.decode()


def test_a_phone_is_told_that_it_was_signed_out_until_somebody_signs_in_there(
    here: Client, lost: Client, operator: User
) -> None:
    assert "X-Wearlog-Ended" not in lost.get("/").headers
    sessions.end_all(by=operator, at=timezone.now(), person=operator)
    for _time in range(2):  # with the session's cookie, and after Django has taken it back
        assert lost.get("/").headers["X-Wearlog-Ended"] == "yes"
    lost.post(f"/sign-in/{make_link(user=operator, at=timezone.now())}/")
    assert "X-Wearlog-Ended" not in lost.get("/").headers
    assert "wearlog_ended" not in {name for name, cookie in lost.cookies.items() if cookie.value}


def test_a_phone_whose_sign_in_has_run_out_is_not_told_that_it_was_ended(lost: Client) -> None:
    Session.objects.update(expire_date=timezone.now())
    answer = lost.get("/")
    assert (answer.status_code, "X-Wearlog-Ended" in answer.headers) == (302, False)


def test_what_a_signed_out_phone_still_sends_stays_with_it(here: Client, lost: Client, shop: Shop) -> None:
    here.post("/me/devices/", {"device": "all"})
    answer = lost.post("/log/note/", {"text": "from the field"}, headers={"X-Wearlog-Queue": "note-1"})
    assert (answer.status_code, answer.json()) == (401, {"state": "signed_out"})
    assert lost.get("/log/waiting/token/", headers={"X-Wearlog-Queue": "token"}).status_code == 401


def test_all_others_are_signed_out_at_once(here: Client, lost: Client, operator: User) -> None:
    third = signed_in(operator, "")
    assert "A device that does not say what it is" in read(here)
    answer = here.post("/me/devices/", {"device": "all"}, follow=True)
    assert "2 devices are signed out." in answer.content.decode()
    assert [each.get("/").status_code for each in (here, lost, third)] == [200, 302, 302]
    assert "Sign out everywhere" not in read(here)


def test_signing_out_this_device_there_is_signing_out(here: Client) -> None:
    page = read(here)
    (own,) = handles(page)
    # The very address at which a phone also throws away the pages that it has kept.
    assert re.search(r'action="/sign-out/">(?:(?!</form>).)*' + own, page)
    assert here.post("/me/devices/", {"device": own})["Location"] == "/sign-in/"
    assert here.get("/").status_code == 302
    assert Session.objects.count() == 0


def test_nobody_ends_anothers_session_through_their_own_page(here: Client, owner: User) -> None:
    office = signed_in(owner, DESK)
    here.post("/me/devices/", {"device": sessions.handle_of(str(office.session.session_key))})
    assert office.get("/").status_code == 200


def test_an_owner_signs_a_person_out_on_that_persons_page(lost: Client, owner: User, operator: User) -> None:
    office = signed_in(owner, DESK)
    page = read(office, f"/people/{operator.pk}/")
    assert "Where they are signed in" in page
    assert "Firefox on Android" in page
    assert "· this device" not in page
    second = signed_in(operator, PHONE)
    office.post(f"/people/{operator.pk}/devices/", {"device": handles(page)[0]})
    assert [each.get("/").status_code for each in (lost, second)] == [302, 200]
    office.post(f"/people/{operator.pk}/devices/", {"device": "all"})
    assert second.get("/").status_code == 302
    assert "Nowhere at the moment." in read(office, f"/people/{operator.pk}/")
    rows = AuditEntry.objects.filter(record="user", record_id=operator.pk, by=owner).order_by("pk")
    assert [row.action for row in rows] == ["end session", "end sessions"]
    assert "sign out a device" in read(office, f"/people/{operator.pk}/")


def test_sessions_are_ended_by_a_post_with_its_token_and_by_owners_alone(
    here: Client, owner: User, operator: User
) -> None:
    assert here.get(f"/people/{owner.pk}/devices/").status_code == 403
    assert here.post(f"/people/{owner.pk}/devices/", {"device": "all"}).status_code == 403
    office = signed_in(owner, DESK)
    assert office.get(f"/people/{operator.pk}/devices/").status_code == 405
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(operator)
    for address in ("/me/devices/", "/me/devices/in-use/"):
        assert strict.post(address, {"device": "all"}).status_code == 403
    assert here.get("/").status_code == 200


def test_a_phone_switched_off_and_on_again_is_not_back(lost: Client, owner: User, operator: User) -> None:
    office = signed_in(owner, DESK)
    typed = {"name": "Oskar", "username": "operator", "role": "operator"}
    office.post(f"/people/{operator.pk}/", typed)
    assert lost.get("/").status_code == 302
    office.post(f"/people/{operator.pk}/", {**typed, "is_active": "on"})
    assert User.objects.get(pk=operator.pk).is_active
    assert lost.get("/").status_code == 302


# --- last use ---------------------------------------------------------------------------------------


def test_only_a_post_notes_a_use_and_the_page_asks_its_script_for_one(operator: User, client: Client) -> None:
    client.force_login(operator)
    for address in ("/", "/me/devices/", "/me/"):
        assert 'data-in-use="/me/devices/in-use/"' in read(client, address)
    assert Session.objects.get().used_at is None
    assert client.get("/me/devices/in-use/").status_code == 405
    assert Session.objects.get().used_at is None
    assert client.post("/me/devices/in-use/").status_code == 204
    noted = Session.objects.get().used_at
    assert noted is not None
    assert "data-in-use" not in read(client, "/")
    client.post("/me/devices/in-use/")
    assert Session.objects.get().used_at == noted


# --- passwords --------------------------------------------------------------------------------------


NEW = {"name": "Oskar", "new_password": "seven brown hulls", "again": "seven brown hulls"}


def let_go_by(client: Client, minutes: int) -> None:
    """As if the sign-in by link lay so far back."""
    session = client.session
    began = sessions.moment(session, sessions.LINK_AT)
    assert began is not None
    session[sessions.LINK_AT] = (began - timedelta(minutes=minutes)).isoformat()
    session.save()


def test_a_first_password_is_set_within_a_quarter_of_an_hour_of_a_link(here: Client, operator: User) -> None:
    let_go_by(here, 14)
    assert here.post("/me/", NEW).status_code == 302
    operator.refresh_from_db()
    assert operator.check_password("seven brown hulls")


def test_later_a_first_password_needs_a_new_link_and_nothing_typed_is_lost(
    here: Client, operator: User
) -> None:
    let_go_by(here, 16)
    answer = here.post("/me/", {**NEW, "email": "new@mill.example"})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "sign in by a new link" in page
    assert 'href="#id_new_password"' in page
    assert 'value="new@mill.example"' in page
    operator.refresh_from_db()
    assert not operator.has_usable_password()
    assert here.post("/me/", {"name": "Oskar the miller"}).status_code == 302
    again = signed_in(operator, DESK)
    assert again.post("/me/", NEW).status_code == 302


def test_a_new_password_ends_the_sessions_elsewhere_and_not_this_one(
    here: Client, lost: Client, operator: User
) -> None:
    assert here.post("/me/", NEW).status_code == 302
    assert [each.get("/").status_code for each in (here, lost)] == [200, 302]
    assert handles(read(here)) == [sessions.handle_of(str(here.session.session_key))]
    assert "<strong>Firefox on Windows</strong> · this device" in read(here)
    changed = {"name": "Oskar", "new_password": "eight brown hulls", "again": "eight brown hulls"}
    assert here.post("/me/", changed).status_code == 422
    assert here.post("/me/", {**changed, "old_password": "guess"}).status_code == 422
    assert here.post("/me/", {**changed, "old_password": "seven brown hulls"}).status_code == 302
