"""Signing in by link and by password, and signing out."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import SESSION_KEY
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings

from wearlog.people.models import Session, SignInLink, User
from wearlog.people.signin import make_link
from wearlog.web.models import SignInFailure

PASSWORD = "linseed and hemp"


@pytest.fixture(autouse=True)
def quick_hashes(settings: Settings) -> None:
    """The real hash takes a tenth of a second on purpose; these tests make hundreds."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


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


@pytest.mark.django_db
class TestLimit:
    def test_after_ten_wrong_ones_even_the_right_one_must_wait(self, client: Client, olga: User) -> None:
        assert [sign_in(client, "wrong") for _ in range(10)] == [400] * 10
        answer = client.post("/sign-in/", {"username": "owner", "password": PASSWORD})
        assert answer.status_code == 429
        assert "Wait fifteen minutes" in answer.content.decode()
        assert SESSION_KEY not in client.session

    def test_capital_letters_do_not_open_a_second_set_of_guesses(self, client: Client, olga: User) -> None:
        for number in range(10):
            name = "OWNER" if number % 2 else "owner"
            client.post("/sign-in/", {"username": name, "password": "wrong"})
        assert sign_in(client) == 429

    def test_a_stranger_elsewhere_cannot_lock_the_owner_out(self, client: Client, olga: User) -> None:
        stranger = Client(REMOTE_ADDR="203.0.113.9")
        for _ in range(11):
            sign_in(stranger, "guess")
        assert sign_in(stranger) == 429
        assert sign_in(client) == 302

    def test_another_account_on_the_same_phone_is_not_held_up(self, client: Client, olga: User) -> None:
        User.objects.create_user("mira", PASSWORD)
        for _ in range(10):
            sign_in(client, "wrong")
        answer = client.post("/sign-in/", {"username": "mira", "password": PASSWORD})
        assert answer.status_code == 302

    def test_after_fifteen_minutes_it_is_open_again(self, client: Client, olga: User) -> None:
        for _ in range(10):
            sign_in(client, "wrong")
        SignInFailure.objects.update(failed_at=timezone.now() - timedelta(minutes=15))
        assert sign_in(client) == 302

    def test_failures_within_the_quarter_of_an_hour_still_count(self, client: Client, olga: User) -> None:
        for _ in range(10):
            sign_in(client, "wrong")
        SignInFailure.objects.update(failed_at=timezone.now() - timedelta(minutes=14))
        assert sign_in(client) == 429

    def test_a_right_password_forgets_the_slips_before_it(self, client: Client, olga: User) -> None:
        for _ in range(9):
            sign_in(client, "wrong")
        assert sign_in(client) == 302
        client.post("/sign-out/")
        assert [sign_in(client, "wrong") for _ in range(9)] == [400] * 9
        assert sign_in(client) == 302

    def test_old_failures_are_not_kept(self, client: Client, olga: User) -> None:
        sign_in(client, "wrong")
        SignInFailure.objects.update(failed_at=timezone.now() - timedelta(hours=1))
        sign_in(client, "wrong")
        assert SignInFailure.objects.count() == 1


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
