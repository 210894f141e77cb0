"""Who may open what: every address, every role; and no GET changes anything."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, Role, User
from wearlog.people.refusals import NotAllowed
from wearlog.people.roles import allows
from wearlog.people.signin import make_link
from wearlog.web.today.views import day

PUBLIC = {
    "sign-in", "sign-in-link", "sign-out", "mail-job", "mail-stop", "calendar-feed", "health", "worker",
    "manifest",
}  # fmt: skip
ROLES = [role.value for role in Role]


def pages() -> Iterator[tuple[str, URLPattern, str]]:
    """Name, pattern and a filled-in address of every page of the site."""
    for entry in get_resolver("wearlog.web.urls").url_patterns:
        assert not isinstance(entry, URLResolver)
        address = "/" + str(entry.pattern)
        for key in entry.pattern.converters:
            known = {"pk": "1", "press": "1", "kind": "run", "secret": "not-a-secret"}
            filled = (known | {"code": "P23Y", "key": "1.1.1.1.-"}).get(key, "1")
            address = re.sub(rf"<\w+:{key}>", filled, address)
        assert "<" not in address
        assert entry.name is not None
        yield entry.name, entry, address


ALL = list(pages())
GUARDED = [(name, entry, address) for name, entry, address in ALL if name not in PUBLIC]


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


def test_every_page_is_marked_with_a_permission_or_as_public() -> None:
    assert {name for name, entry, _ in ALL if not hasattr(entry.callback, "permission")} == set()
    assert {name for name, entry, _ in ALL if getattr(entry.callback, "permission", "") is None} == PUBLIC


def test_the_names_that_other_floors_link_to_are_there() -> None:
    assert {name for name, _, _ in ALL} >= {
        "day", "sign-in", "sign-in-link", "sign-out", "run-new", "run-stop", "work-new", "incident-new",
        "crop-change-new", "note-new", "reading-new", "measurement-new", "lot-release", "presses", "press",
        "part", "parts", "forecast", "job-card", "compare", "log", "correct", "void", "plan", "rules",
        "energy", "people", "my-settings", "settings",
    }  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "entry", "address"), GUARDED, ids=[name for name, _, _ in GUARDED])
def test_without_a_sign_in_every_page_leads_to_the_sign_in_page(
    name: str, entry: URLPattern, address: str, client: Client, mill: Mill
) -> None:
    for answer in (client.get(address), client.post(address)):
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/?next=")


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_each_role_opens_what_its_permissions_carry_and_nothing_else(
    role: str, client: Client, shop: LookMill
) -> None:
    user = User.objects.create_user(role, role=role)
    client.force_login(user)
    for _name, entry, address in GUARDED:
        answer = client.get(address)
        if allows(user, entry.callback.permission):  # type: ignore[attr-defined]
            assert answer.status_code in (200, 302, 404, 405), address
            assert not answer.get("Location", "").startswith("/sign-in/"), address
        else:
            assert answer.status_code == 403, address


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_each_role_is_refused_what_it_may_not_send(role: str, client: Client, shop: LookMill) -> None:
    user = User.objects.create_user(role, role=role)
    client.force_login(user)
    for _name, entry, address in GUARDED:
        if not allows(user, entry.callback.permission_to_write):  # type: ignore[attr-defined]
            assert client.post(address).status_code == 403, address


@pytest.mark.django_db
def test_a_viewer_may_look_and_not_log(client: Client, shop: LookMill) -> None:
    client.force_login(User.objects.create_user("v", role="viewer"))
    assert client.get("/").status_code == 200
    refused = client.get("/log/run/")
    assert refused.status_code == 403
    assert "ask an owner to make you an operator" in refused.content.decode()


@pytest.mark.django_db
def test_somebody_who_was_switched_off_is_out_at_once(client: Client, owner: User) -> None:
    client.force_login(owner)
    User.objects.filter(pk=owner.pk).update(is_active=False)
    assert client.get("/").status_code == 302


def fingerprint() -> str:
    """A hash of every row of every table."""
    found = hashlib.sha256()
    with connection.cursor() as cursor:
        for table in sorted(connection.introspection.table_names(cursor)):
            cursor.execute(f'SELECT * FROM "{table}"')
            found.update(repr((table, sorted(map(repr, cursor.fetchall())))).encode())
    return found.hexdigest()


@pytest.mark.django_db
def test_no_get_of_any_page_changes_a_row(client: Client, shop: LookMill, owner: User) -> None:
    shop.running()
    shop.hold()
    secret = make_link(user=owner, at=timezone.now(), valid_for=timedelta(hours=1))
    client.force_login(owner)
    before = fingerprint()
    for name, _entry, address in ALL:
        for path in dict.fromkeys((address, address.replace("/1/", f"/{shop.north.pk}/"))):
            client.get(f"/sign-in/{secret}/" if name == "sign-in-link" else path)
            client.head(path)
    Client().get(f"/sign-in/{secret}/")
    assert fingerprint() == before


@pytest.mark.django_db
def test_a_refusal_that_a_view_lets_through_becomes_a_page_with_its_sentence(
    client: Client, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**_: object) -> None:
        raise NotAllowed("Ask Olga for that.")

    monkeypatch.setattr(day, "items_of_fleet", refuse)
    client.force_login(owner)
    answer = client.get("/")
    assert answer.status_code == 403
    assert "Ask Olga for that." in answer.content.decode()


@pytest.mark.django_db
def test_pages_are_not_kept_by_a_browser_for_the_next_person(client: Client, owner: User) -> None:
    client.force_login(owner)
    assert client.get("/")["Cache-Control"] == "private, no-cache"
