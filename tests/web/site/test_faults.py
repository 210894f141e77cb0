"""An error leaves a trace: a page that says what to do and names the request, lines in the server's log."""

from __future__ import annotations

import re

import pytest
from django.conf import settings as site_settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.template import engines
from django.test import Client
from pytest_django import Settings

from wearlog.people.models import User

NUMBER = re.compile(r"Number of this request: ([\w-]+)")


@pytest.fixture
def visitor(settings: Settings, mill: object) -> Client:
    settings.ROOT_URLCONF = "tests.web.site.broken_urls"
    return Client(raise_request_exception=False)


def test_the_page_of_an_error_names_the_request_and_says_what_to_do(
    visitor: Client, capfd: pytest.CaptureFixture[str]
) -> None:
    answer = visitor.get("/fails/")
    page = answer.content.decode()
    assert answer.status_code == 500
    assert "Something broke on our side" in page
    assert "tell whoever runs this server" in page
    found = NUMBER.search(page)
    assert found is not None
    assert found[1] == answer["X-Request-ID"]
    assert f"[{found[1]}]" in capfd.readouterr().err


def test_each_error_writes_its_traceback_once_with_method_path_and_person(
    visitor: Client, operator: User, capfd: pytest.CaptureFixture[str]
) -> None:
    visitor.force_login(operator)
    name = visitor.post("/fails/?q=asked-for-this", {"note": "typed-this"})["X-Request-ID"]
    told = capfd.readouterr().err
    assert told.count("Traceback (most recent call last)") == 1
    assert f"[{name}] django.request: POST /fails/ answered 500, person {operator.pk}\n" in told
    assert "in fails" in told  # the frame
    assert "builtins.LookupError: nothing is called" in told


@pytest.mark.parametrize("typed", ["typed-this", "7", "Ümläut", "two\nlines", "it's"])
def test_what_somebody_typed_is_not_in_the_log(
    visitor: Client, typed: str, capfd: pytest.CaptureFixture[str]
) -> None:
    visitor.post("/fails/?q=asked-for-this", {"note": typed}, headers={"Authorization": "Bearer letmein1"})
    told = re.sub(r'File "[^"]*"', "", capfd.readouterr().err)  # a folder may be called anything
    assert re.search(r"nothing is called ['\"]\[left out\]['\"]", told)
    for value in ("asked-for-this", "letmein1", *(line for line in typed.splitlines() if len(line) > 3)):
        assert value not in told


def test_an_address_that_lets_somebody_in_is_not_in_the_log(
    visitor: Client, capfd: pytest.CaptureFixture[str]
) -> None:
    visitor.get("/fails/Kx93hemligtQQ/")
    told = capfd.readouterr().err
    assert "GET /fails/[left out]/ answered 500" in told
    assert "Kx93hemligtQQ" not in told


def test_a_row_that_the_database_refused_is_not_in_the_log(
    visitor: Client, capfd: pytest.CaptureFixture[str]
) -> None:
    visitor.get("/fails-on-a-row/")
    told = capfd.readouterr().err
    assert "user_role_known" in told  # the promise that was broken
    assert "Zacharias" not in told


def test_secrets_of_the_server_are_not_in_the_log(
    visitor: Client, settings: Settings, capfd: pytest.CaptureFixture[str]
) -> None:
    settings.EMAIL_HOST_PASSWORD = "p4ss/word of the mail"
    visitor.get("/fails/", {"q": f"{site_settings.SECRET_KEY} {site_settings.EMAIL_HOST_PASSWORD}"})
    told = capfd.readouterr().err
    assert "answered 500" in told
    assert site_settings.SECRET_KEY not in told
    assert "p4ss" not in told


def test_a_line_of_the_log_can_not_be_made_up(visitor: Client, capfd: pytest.CaptureFixture[str]) -> None:
    visitor.get("/fails/%0a2026-01-01T00:00:00Z%20ERROR%20made%20up/")
    told = capfd.readouterr().err
    assert not re.search(r"^2026-01-01T00:00:00Z", told, re.MULTILINE)


def test_a_page_that_is_not_there_is_no_line_of_the_log(
    visitor: Client, capfd: pytest.CaptureFixture[str]
) -> None:
    assert visitor.get("/nothing/").status_code == 404
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("given", ["from-the-proxy-17", "0b1c2d3e"])
def test_a_name_that_a_proxy_gave_the_request_is_taken(visitor: Client, given: str) -> None:
    answer = visitor.get("/fails/", headers={"X-Request-ID": given})
    assert answer["X-Request-ID"] == given
    assert given in answer.content.decode()


@pytest.mark.parametrize(
    "given",
    ["", "short", "a" * 65, "<script>alert(1)</script>", "two words here", "line\r\nX: y", "-dash-first"],
)
def test_what_does_not_look_like_a_name_of_a_request_is_not_taken(visitor: Client, given: str) -> None:
    answer = visitor.get("/fails/", headers={"X-Request-ID": given})
    assert re.fullmatch(r"[0-9a-f]{12}", answer["X-Request-ID"])
    assert "<script>alert" not in answer.content.decode()


def test_every_answer_has_a_name_of_its_own(client: Client, mill: object) -> None:
    names = {client.get(path)["X-Request-ID"] for path in ("/sign-in/", "/healthz", "/nothing/", "/sign-in/")}
    assert len(names) == 4


@pytest.mark.parametrize(("asks", "lang"), [("de", "de"), ("fr-CH, en;q=0.5", "fr"), ("xx", "en")])
def test_the_page_of_an_error_is_in_the_language_of_who_reads_it(
    visitor: Client, operator: User, asks: str, lang: str
) -> None:
    answer = visitor.get("/fails/", headers={"Accept-Language": asks})
    assert f'<html lang="{lang}">' in answer.content.decode()
    operator.language = "fr"
    operator.save()
    visitor.force_login(operator)
    assert '<html lang="fr">' in visitor.get("/fails/").content.decode()


def test_where_even_its_page_breaks_a_plain_one_comes_with_the_number(
    visitor: Client, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    engine = engines["django"].engine  # type: ignore[attr-defined]
    monkeypatch.setattr(engine, "template_loaders", [])
    answer = visitor.get("/fails/")
    page = answer.content.decode()
    assert answer.status_code == 500
    assert answer["X-Request-ID"] in page
    for words in ("Something broke", "kaputtgegangen", "cassé"):
        assert words in page
    assert "could not be made" in capfd.readouterr().err


def test_an_entry_of_a_phone_is_told_to_keep_itself(visitor: Client, operator: User) -> None:
    visitor.force_login(operator)
    answer = visitor.post("/fails/", {"note": "x"}, headers={"X-Wearlog-Queue": "q-1"})
    told = answer.json()
    assert (answer.status_code, told["state"], told["why"]) == (500, "busy", "broken")
    assert told["request"] == answer["X-Request-ID"]


def test_what_a_broken_request_began_is_not_kept_by_half(visitor: Client) -> None:
    answer = visitor.get("/half/")
    assert answer.status_code == 500
    assert not answer.cookies


def test_a_table_that_lacks_is_an_error_and_with_migrations_that_wait_a_page_that_names_them(
    visitor: Client, transactional_db: None
) -> None:
    answer = visitor.get("/lacks/")
    assert answer.status_code == 500
    applied = MigrationRecorder(connection).migration_qs.filter(app="runs")
    rows = list(applied)
    applied.delete()
    try:
        answer = visitor.get("/lacks/")
    finally:
        applied.bulk_create(rows)
    page = answer.content.decode()
    assert (answer.status_code, answer["Retry-After"]) == (503, "60")
    assert "runs.0001_squashed" in page
    assert "manage.py migrate" in page


def test_a_session_that_ended_in_mid_request_does_not_have_the_phone_throw_its_entry_away(
    visitor: Client, operator: User
) -> None:
    visitor.force_login(operator)
    answer = visitor.post("/ended/", {"a": "b"}, headers={"X-Wearlog-Queue": "q-1"})
    assert (answer.status_code, answer.json()["state"]) == (400, "busy")
    visitor.force_login(operator)
    page = visitor.post("/ended/", {"a": "b"})
    assert page.status_code == 400
    assert "Go back, load the page again" in page.content.decode()
