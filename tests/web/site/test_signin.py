"""Signing in by link and by password, and signing out."""

from __future__ import annotations

import io
from datetime import timedelta
from ipaddress import ip_network

import pytest
from django.contrib.auth import SESSION_KEY
from django.core.management import call_command
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings

from wearlog.config.environment import Proxies
from wearlog.people.models import AuditEntry, Session, SignInLink, User
from wearlog.people.signin import make_link
from wearlog.web.site import known_devices

PASSWORD = "linseed and hemp"


@pytest.fixture
def olga(owner: User) -> User:
    owner.set_password(PASSWORD)
    owner.save()
    return owner


def sign_in(client: Client, password: str = PASSWORD, **more: str) -> int:
    return client.post("/sign-in/", {"username": "owner", "password": password, **more}).status_code


@pytest.mark.django_db
class TestPassword:
    def test_the_right_password_leads_to_the_day(self, client: Client, olga: User) -> None:
        answer = client.post("/sign-in/", {"username": "owner", "password": PASSWORD})
        assert answer.status_code == 302
        assert answer["Location"] == "/"
        assert client.session[SESSION_KEY] == str(olga.pk)

    def test_it_leads_back_to_where_somebody_wanted_to_go(self, client: Client, olga: User) -> None:
        page = client.get("/presses/?x=1", follow=True)
        assert page.context["next"] == "/presses/?x=1"
        answer = client.post(
            "/sign-in/", {"username": "owner", "password": PASSWORD, "next": page.context["next"]}
        )
        assert answer["Location"] == "/presses/?x=1"

    @pytest.mark.parametrize("elsewhere", ["https://evil.example/", "//evil.example", "javascript:alert(1)"])
    def test_it_never_leads_to_another_site(self, elsewhere: str, client: Client, olga: User) -> None:
        answer = client.post("/sign-in/", {"username": "owner", "password": PASSWORD, "next": elsewhere})
        assert answer["Location"] == "/"

    def test_a_wrong_one_is_refused_in_words_and_keeps_the_name(self, client: Client, olga: User) -> None:
        answer = client.post("/sign-in/", {"username": "owner", "password": "wrong"})
        page = answer.content.decode()
        assert answer.status_code == 400
        assert "Name and password don&#x27;t belong together." in page
        assert 'value="owner"' in page
        assert "wrong" not in page
        assert SESSION_KEY not in client.session

    def test_an_unknown_name_reads_the_same_as_a_wrong_password(self, client: Client, olga: User) -> None:
        wrong = client.post("/sign-in/", {"username": "owner", "password": "wrong"}).context["problem"]
        unknown = client.post("/sign-in/", {"username": "nobody", "password": "wrong"}).context["problem"]
        assert wrong == unknown

    def test_somebody_switched_off_does_not_get_in(self, client: Client, olga: User) -> None:
        User.objects.filter(pk=olga.pk).update(is_active=False)
        assert sign_in(client) == 400

    def test_the_session_gets_a_new_key(self, client: Client, olga: User) -> None:
        session = client.session
        session["before"] = "yes"
        session.save()
        old = session.session_key
        assert sign_in(client) == 302
        assert client.session.session_key != old
        assert not Session.objects.filter(session_key=old).exists()


class Clock:
    """Stands still until it is told to go on, so that no slow machine lets a wait go by."""

    def __init__(self) -> None:
        self.now = timezone.now()

    def go(self, **time: float) -> None:
        self.now += timedelta(**time)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(timezone, "now", lambda: made.now)
    return made


@pytest.mark.django_db
@pytest.mark.usefixtures("clock")
class TestLimit:
    """How long each wait is: tests/people/test_brakes.py."""

    def test_after_five_wrong_ones_even_the_right_one_waits_ten_seconds(
        self, client: Client, olga: User, clock: Clock
    ) -> None:
        assert [sign_in(client, "wrong") for _ in range(5)] == [400] * 5
        answer = client.post("/sign-in/", {"username": "owner", "password": PASSWORD})
        assert answer.status_code == 429
        assert answer["Retry-After"] == "10"
        assert "wait 10 seconds before the next try" in answer.content.decode()
        assert 'value="owner"' in answer.content.decode()
        assert SESSION_KEY not in client.session
        clock.go(seconds=9)
        assert sign_in(client) == 429
        clock.go(seconds=1)
        assert sign_in(client) == 302

    def test_after_ten_wrong_ones_a_quarter_of_an_hour_must_go_by(
        self, client: Client, olga: User, clock: Clock
    ) -> None:
        for _ in range(9):
            assert sign_in(client, "wrong") == 400
            clock.go(minutes=3)
        assert sign_in(client, "wrong") == 400
        clock.go(minutes=14, seconds=59)
        answer = client.post("/sign-in/", {"username": "owner", "password": PASSWORD})
        assert (answer.status_code, answer["Retry-After"]) == (429, "1")
        clock.go(seconds=1)
        assert sign_in(client) == 302

    def test_an_unknown_name_is_held_up_in_the_same_words(self, client: Client, olga: User) -> None:
        said = {}
        for name in ("owner", "nobody"):
            phone = Client(REMOTE_ADDR=f"198.51.100.{len(name)}")
            for _ in range(5):
                phone.post("/sign-in/", {"username": name, "password": "wrong"})
            said[name] = phone.post("/sign-in/", {"username": name, "password": "wrong"})
        assert said["owner"].status_code == said["nobody"].status_code == 429
        assert said["owner"].context["problem"] == said["nobody"].context["problem"]

    def test_a_stranger_elsewhere_cannot_lock_the_owner_out(self, client: Client, olga: User) -> None:
        stranger = Client(REMOTE_ADDR="203.0.113.9")
        for _ in range(6):
            sign_in(stranger, "guess")
        assert sign_in(stranger) == 429
        assert sign_in(client) == 302

    def test_a_stranger_at_the_same_address_cannot_keep_a_device_out_that_has_signed_in_before(
        self, client: Client, olga: User
    ) -> None:
        assert sign_in(client) == 302
        client.post("/sign-out/")
        stranger = Client()
        for number in range(25):
            stranger.post("/sign-in/", {"username": f"somebody {number}", "password": "guess"})
        for _ in range(5):
            sign_in(stranger, "guess")
        assert sign_in(Client()) == 429
        assert sign_in(client) == 302

    def test_a_device_is_known_by_a_link_too_and_to_that_person_alone(
        self, client: Client, olga: User
    ) -> None:
        User.objects.create_user("mira", PASSWORD)
        client.post(f"/sign-in/{make_link(user=olga, at=timezone.now())}/")
        stranger = Client()
        for name in ("owner", "mira"):
            for _ in range(5):
                stranger.post("/sign-in/", {"username": name, "password": "guess"})
        assert client.post("/sign-in/", {"username": "mira", "password": PASSWORD}).status_code == 429
        assert sign_in(client) == 302

    def test_a_known_device_that_guesses_is_held_up_itself(self, client: Client, olga: User) -> None:
        assert sign_in(client) == 302
        assert [sign_in(client, "wrong") for _ in range(6)] == [400] * 5 + [429]

    def test_a_cookie_that_nobody_here_signed_makes_no_device_known(self, client: Client, olga: User) -> None:
        assert sign_in(client) == 302
        cookie = client.cookies[known_devices.COOKIE]
        assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == ("/sign-in/", True, "Lax")
        assert "owner" not in cookie.value
        forged = Client()
        forged.cookies[known_devices.COOKIE] = cookie.value[:-1] + ("a" if cookie.value[-1] != "a" else "b")
        for _ in range(5):
            sign_in(Client(), "guess")
        assert sign_in(forged) == 429

    def test_a_link_of_the_machines_own_command_gets_in_however_many_wrong_passwords_there_were(
        self, client: Client, olga: User
    ) -> None:
        for _ in range(6):
            sign_in(client, "wrong")
        assert sign_in(client) == 429
        out = io.StringIO()
        call_command("add_person", "owner", stdout=out)
        assert client.post(out.getvalue().splitlines()[-1])["Location"] == "/"
        assert client.session[SESSION_KEY] == str(olga.pk)

    def test_another_account_on_the_same_phone_is_not_held_up(self, client: Client, olga: User) -> None:
        User.objects.create_user("mira", PASSWORD)
        for _ in range(6):
            sign_in(client, "wrong")
        answer = client.post("/sign-in/", {"username": "mira", "password": PASSWORD})
        assert answer.status_code == 302

    def test_a_right_password_forgets_the_slips_before_it(self, client: Client, olga: User) -> None:
        for _ in range(2):
            assert [sign_in(client, "wrong") for _ in range(4)] == [400] * 4
            assert sign_in(client) == 302
            client.post("/sign-out/")

    def test_behind_a_trusted_proxy_each_phone_is_counted_by_its_own_address(
        self, olga: User, settings: Settings
    ) -> None:
        settings.TRUSTED_PROXIES = Proxies((ip_network("10.0.0.0/8"),))

        def from_(phone: str) -> Client:
            return Client(REMOTE_ADDR="10.0.0.2", HTTP_X_FORWARDED_FOR=f"192.0.2.250, {phone}, 10.1.1.1")

        for _ in range(6):
            sign_in(from_("203.0.113.9"), "guess")
        assert sign_in(from_("203.0.113.9")) == 429
        assert sign_in(from_("198.51.100.1")) == 302

    def test_who_is_no_trusted_proxy_cannot_choose_an_address(self, olga: User, settings: Settings) -> None:
        settings.TRUSTED_PROXIES = Proxies((ip_network("10.0.0.0/8"),))
        for number in range(5):
            sign_in(Client(REMOTE_ADDR="203.0.113.9", HTTP_X_FORWARDED_FOR=f"192.0.2.{number}"), "guess")
        assert sign_in(Client(REMOTE_ADDR="203.0.113.9", HTTP_X_FORWARDED_FOR="192.0.2.99")) == 429


@pytest.mark.django_db
class TestTrail:
    def test_signing_in_and_out_leaves_a_row_each_with_the_device(self, client: Client, olga: User) -> None:
        phone = "Mozilla/5.0 (Android 14; Mobile; rv:130.0) Gecko/130.0 Firefox/130.0"
        client.post("/sign-in/", {"username": "owner", "password": PASSWORD}, headers={"user-agent": phone})
        client.post("/sign-out/")
        link = f"/sign-in/{make_link(user=olga, at=timezone.now())}/"
        client.post(link, headers={"user-agent": phone})
        rows = AuditEntry.objects.filter(record="user", record_id=olga.pk).order_by("pk")
        assert [(row.action, row.by, row.old, row.new) for row in rows] == [
            ("sign in by password", olga, None, {"device": "Firefox on Android"}),
            ("sign out", olga, {"device": "Firefox on Android"}, {"device": ""}),
            ("sign in by link", olga, None, {"device": "Firefox on Android"}),
        ]


@pytest.mark.django_db
class TestLink:
    def test_looking_at_the_link_spends_nothing_and_the_button_signs_in(
        self, client: Client, owner: User
    ) -> None:
        address = f"/sign-in/{make_link(user=owner, at=timezone.now())}/"
        for _ in range(3):
            page = client.get(address)
            assert page.status_code == 200
        assert SESSION_KEY not in client.session
        assert SignInLink.objects.get().used_at is None
        answer = client.post(address)
        assert answer["Location"] == "/"
        assert client.session[SESSION_KEY] == str(owner.pk)

    def test_it_works_once(self, client: Client, owner: User) -> None:
        address = f"/sign-in/{make_link(user=owner, at=timezone.now())}/"
        client.post(address)
        second = Client().post(address)
        assert second.status_code == 400
        assert "it works once" in second.content.decode()

    def test_a_newer_link_voids_those_before_it(self, client: Client, owner: User) -> None:
        older, newer = (f"/sign-in/{make_link(user=owner, at=timezone.now())}/" for _ in range(2))
        answer = client.post(older)
        assert answer.status_code == 400
        assert "a newer one was made since" in answer.content.decode()
        assert SESSION_KEY not in client.session
        assert client.post(newer)["Location"] == "/"

    def test_an_old_link_says_that_it_is_too_old(self, client: Client, owner: User) -> None:
        secret = make_link(user=owner, at=timezone.now() - timedelta(hours=25))
        answer = client.post(f"/sign-in/{secret}/")
        assert answer.status_code == 400
        assert "too old" in answer.content.decode()
        assert SESSION_KEY not in client.session

    def test_an_unknown_link_is_refused(self, client: Client, owner: User) -> None:
        assert client.post("/sign-in/nonsense/").status_code == 400

    def test_a_link_for_another_person_ends_the_session_that_was_open(
        self, client: Client, owner: User, operator: User
    ) -> None:
        client.force_login(operator)
        old = client.session.session_key
        client.post(f"/sign-in/{make_link(user=owner, at=timezone.now())}/")
        assert client.session[SESSION_KEY] == str(owner.pk)
        assert not Session.objects.filter(session_key=old).exists()

    def test_the_page_is_never_kept_by_the_browser(self, client: Client, owner: User) -> None:
        assert "no-store" in client.get("/sign-in/whatever/")["Cache-Control"]


@pytest.mark.django_db
def test_signing_out_ends_the_session_and_only_a_post_does(client: Client, owner: User) -> None:
    client.force_login(owner)
    assert client.get("/sign-out/").status_code == 405
    assert SESSION_KEY in client.session
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert SESSION_KEY not in client.session
    assert Session.objects.count() == 0


@pytest.mark.django_db
def test_forms_without_a_token_are_refused_with_what_to_do(owner: User) -> None:
    strict = Client(enforce_csrf_checks=True)
    answer = strict.post("/sign-in/", {"username": "owner", "password": PASSWORD})
    assert answer.status_code == 403
    assert "Nothing was saved." in answer.content.decode()
