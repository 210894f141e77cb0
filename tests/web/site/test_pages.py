"""What all pages have in common: tabs, index, heading, and pages for what went wrong."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User
from wearlog.runs.models import Crop
from wearlog.web.log.forms.run import RunStopForm
from wearlog.web.site.fields import METRIC
from wearlog.web.site.pages import add_validation
from wearlog.web.today.views import day

SHOWN = ["/", "/due/", "/presses/", "/parts/"]


@pytest.mark.django_db
@pytest.mark.parametrize("path", SHOWN)
def test_each_page_has_one_heading_one_main_and_says_which_tab_is_open(
    path: str, client: Client, owner: User
) -> None:
    client.force_login(owner)
    page = client.get(path).content.decode()
    assert page.count("<h1") == 1
    assert page.count("<main") == 1
    assert re.findall(r'<a href="([^"]*)" aria-current="page">', page) == [path]
    assert 'href="#main">Skip to the page</a>' in page


@pytest.mark.django_db
def test_headings_go_down_by_one_rank_at_a_time(client: Client, owner: User) -> None:
    shop = LookMill(timezone.now())
    client.force_login(owner)
    for path in [*SHOWN, f"/presses/{shop.north.pk}/", f"/parts/{shop.die.pk}/"]:
        ranks = [int(rank) for rank in re.findall(r"<h([1-6])", client.get(path).content.decode())]
        assert ranks[0] == 1
        assert all(after <= before + 1 for before, after in pairwise(ranks)), path


@pytest.mark.django_db
def test_the_index_lists_only_what_a_person_may_open(client: Client, mill: Mill, owner: User) -> None:
    def index(user: User) -> set[str]:
        client.force_login(user)
        menus = re.findall(r'<div class="index">.*?</div>', client.get("/").content.decode(), re.S)
        assert len(menus) == 3
        return set(re.findall(r'href="([^"]+)"', "".join(menus)))

    viewer = index(User.objects.create_user("v", role="viewer"))
    assert "/compare/" in viewer
    assert not viewer & {"/log/run/", "/people/", "/settings/", "/prices/"}
    assert index(owner) >= {"/log/run/", "/people/", "/settings/", "/prices/"}


@pytest.mark.django_db
def test_a_wrong_address_is_answered_within_the_book(client: Client, owner: User) -> None:
    client.force_login(owner)
    answer = client.get("/nothing/")
    assert answer.status_code == 404
    assert "Nothing at this address" in answer.content.decode()
    assert 'aria-label="Pages"' in answer.content.decode()


@pytest.mark.django_db
def test_a_stranger_at_a_wrong_address_sees_no_pages(client: Client, mill: Mill) -> None:
    answer = client.get("/nothing/")
    assert answer.status_code == 404
    assert 'aria-label="Pages"' not in answer.content.decode()


@pytest.mark.django_db
def test_a_page_that_breaks_says_what_to_do_and_tells_nothing_of_the_inside(
    client: Client, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:

    def broken(**_: object) -> None:
        raise RuntimeError("the secret of the inside")

    monkeypatch.setattr(day, "items_of_fleet", broken)
    client.raise_request_exception = False
    client.force_login(owner)
    answer = client.get("/")
    assert answer.status_code == 500
    assert "the log of the server says what went wrong" in " ".join(answer.content.decode().split())
    assert "secret of the inside" not in answer.content.decode()


@pytest.mark.django_db
def test_a_mill_without_records_shows_every_page(client: Client, owner: User) -> None:
    client.force_login(owner)
    for path in SHOWN:
        assert client.get(path).status_code == 200


@pytest.mark.django_db
def test_before_any_mill_is_recorded_the_sign_in_page_stands(client: Client) -> None:
    assert client.get("/", follow=True).status_code == 200


def test_an_error_of_a_field_that_the_form_lacks_is_told_by_the_name_that_people_know() -> None:
    form = RunStopForm({}, reader=METRIC, crop=Crop(code="rapeseed"), by_meter=True)
    form.full_clean()
    add_validation(form, ValidationError({"seed_kg": ["Too much."], "void_reason": ["Too long."]}))
    assert "Too much." in form.errors["seed"]
    assert form.non_field_errors() == ["Why it was crossed out: Too long."]
