"""People, sign-in links, one's own settings, the mill, and the logbook in and out."""

from __future__ import annotations

import io
import re
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import MORNING, Shop
from wearlog.equipment.models import Press
from wearlog.people.models import AuditEntry, Mill, Role, SignInLink, User
from wearlog.people.signin import make_link


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def test_a_person_is_added_and_signs_in_by_a_link_that_is_shown_once(desk: Client, mill: Mill) -> None:
    answer = desk.post(
        "/people/new/",
        {"name": "Ines", "username": "ines", "email": "ines@mill.example", "role": "operator"},
    )
    ines = User.objects.get(username="ines")
    assert answer.headers["Location"] == f"/people/{ines.pk}/"
    assert not ines.has_usable_password()
    shown = desk.post(f"/people/{ines.pk}/link/").content.decode()
    found = re.search(r"http://testserver(/sign-in/[^<]+)", shown)
    assert found is not None
    assert found[1] not in page(desk, f"/people/{ines.pk}/")
    phone = Client()
    assert phone.get(found[1]).status_code == 200
    assert SignInLink.objects.get().used_at is None  # opening the page spends nothing
    phone.post(found[1])
    assert "Signed in as Ines" in phone.get("/").content.decode()


def test_a_link_is_made_by_post_alone(desk: Client, operator: User) -> None:
    assert desk.get(f"/people/{operator.pk}/link/").status_code == 405
    assert SignInLink.objects.count() == 0


def test_a_name_to_sign_in_with_is_taken_once(desk: Client, operator: User) -> None:
    answer = desk.post("/people/new/", {"name": "Otto", "username": "operator", "role": "operator"})
    assert answer.status_code == 422
    assert 'value="Otto"' in answer.content.decode()


def test_a_person_is_switched_off_and_gets_no_link(desk: Client, operator: User) -> None:
    desk.post(f"/people/{operator.pk}/", {"name": "Oskar", "username": "operator", "role": "operator"})
    operator.refresh_from_db()
    assert not operator.is_active
    answer = desk.post(f"/people/{operator.pk}/link/", follow=True)
    assert "may not sign in" in answer.content.decode()
    assert SignInLink.objects.count() == 0


def test_an_owner_cannot_lock_themselves_out(desk: Client, owner: User) -> None:
    typed = {"name": "Olga", "username": "owner", "role": "viewer", "is_active": "on"}
    assert (
        "You can&#x27;t take this from yourself." in desk.post(f"/people/{owner.pk}/", typed).content.decode()
    )
    owner.refresh_from_db()
    assert owner.role == Role.OWNER


def test_everybody_sets_their_own_units_and_mail_and_nothing_more(client: Client, operator: User) -> None:
    client.force_login(operator)
    answer = client.post("/me/", {"name": "Oskar", "email": "o@mill.example", "units": "us", "role": "owner"})
    assert answer.status_code == 302
    operator.refresh_from_db()
    assert (operator.units, operator.email, operator.gets_mail) == ("us", "o@mill.example", False)
    assert operator.role == Role.OPERATOR
    assert operator.is_active


def test_the_mill_changes_its_zone(desk: Client, mill: Mill) -> None:
    typed = {"name": "River mill", "time_zone": "America/Winnipeg", "currency": "CAD", "units": "us"}
    assert desk.post("/settings/", typed).status_code == 302
    mill.refresh_from_db()
    assert (mill.name, mill.time_zone, mill.units) == ("River mill", "America/Winnipeg", "us")
    wrong = desk.post("/settings/", {**typed, "time_zone": "Winnipeg"})
    assert wrong.status_code == 422


def test_the_settings_say_that_the_site_is_open_without_https(desk: Client) -> None:
    assert "open without https" in page(desk, "/settings/")
    assert "open without https" not in desk.get("/settings/", secure=True).content.decode()


def archive(**files: str) -> SimpleUploadedFile:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as made:
        for name, content in files.items():
            made.writestr(f"{name}.csv", content)
    return SimpleUploadedFile("logbook.zip", stream.getvalue(), "application/zip")


def test_a_logbook_is_checked_without_storing_and_then_imported(desk: Client) -> None:
    presses = "press,name\r\nP1,First\r\nP2,Second\r\n"
    checked = desk.post("/exchange/", {"file": archive(presses=presses)}, follow=True)
    assert "Checked, nothing is stored yet. Importing it would give: 2 new" in checked.content.decode()
    assert Press.objects.count() == 0
    desk.post("/exchange/", {"file": archive(presses=presses), "store": "1"})
    assert list(Press.objects.values_list("code", "name")) == [("P1", "First"), ("P2", "Second")]


def test_every_bad_row_is_listed_and_nothing_is_stored(desk: Client) -> None:
    bad = archive(
        presses="press,commissioned_on\r\nP1,soon\r\nP2,2026-02-30\r\n",
        crops="crop,bushel_kg\r\nrape,many\r\n",
    )
    answer = desk.post("/exchange/", {"file": bad, "store": "1"}, follow=True)
    text = answer.content.decode()
    assert "presses.csv, line 2, column commissioned_on" in text
    assert "presses.csv, line 3, column commissioned_on" in text
    assert "crops.csv, line 2, column bushel_kg" in text
    assert Press.objects.count() == 0


def test_a_conflict_is_listed_and_settled_as_the_owner_says(desk: Client) -> None:
    desk.post("/exchange/", {"file": archive(presses="press,name\r\nP1,First\r\n"), "store": "1"})
    other = "press,name\r\nP1,Other\r\n"
    refused = desk.post("/exchange/", {"file": archive(presses=other), "store": "1"}, follow=True)
    assert "presses.csv, line 2" in refused.content.decode()
    desk.post("/exchange/", {"file": archive(presses=other), "store": "1", "on_conflict": "replace"})
    assert Press.objects.get().name == "Other"


def test_what_is_no_archive_is_refused(desk: Client) -> None:
    answer = desk.post("/exchange/", {"file": SimpleUploadedFile("logbook.zip", b"not a zip"), "store": "1"})
    assert answer.status_code == 422
    assert desk.post("/exchange/", {"store": "1"}).status_code == 422


def test_the_export_is_an_archive_and_writes_nothing(desk: Client, mill: Mill) -> None:
    shop = Shop()
    shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    before = AuditEntry.objects.count()
    answer = desk.get("/exchange/logbook.zip")
    assert answer.headers["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as made:
        name = next(name for name in made.namelist() if name.endswith("runs.csv"))
        assert "rapeseed" in made.read(name).decode()
    assert AuditEntry.objects.count() == before


def test_an_operator_neither_exports_nor_makes_links(client: Client, operator: User, owner: User) -> None:
    client.force_login(operator)
    assert client.get("/exchange/logbook.zip").status_code == 403
    assert client.post(f"/people/{owner.pk}/link/").status_code == 403
    assert SignInLink.objects.count() == 0


def test_a_password_is_set_twice_and_changed_only_by_who_knows_the_old_one(
    client: Client, operator: User
) -> None:
    client.post(f"/sign-in/{make_link(user=operator, at=timezone.now())}/")
    typed = {"name": "Oskar", "email": "o@mill.example", "units": ""}
    once = {"new_password": "seven brown hulls", "again": "seven brown hull"}
    assert "This is not the same." in client.post("/me/", {**typed, **once}).content.decode()
    twice = {"new_password": "seven brown hulls", "again": "seven brown hulls"}
    assert client.post("/me/", {**typed, **twice}).status_code == 302
    assert client.get("/me/").status_code == 200  # this device stays signed in
    fresh = {"new_password": "eight brown hulls", "again": "eight brown hulls"}
    wrong = client.post("/me/", {**typed, **fresh, "old_password": "guess"})
    assert "This is not your password until now." in wrong.content.decode()
    assert client.post("/me/", {**typed, **fresh, "old_password": "seven brown hulls"}).status_code == 302
    operator.refresh_from_db()
    assert operator.check_password("eight brown hulls")


def test_a_weak_password_is_refused_at_its_field(client: Client, operator: User) -> None:
    client.post(f"/sign-in/{make_link(user=operator, at=timezone.now())}/")
    typed = {"name": "Oskar", "new_password": "password12", "again": "password12"}
    answer = client.post("/me/", typed)
    assert answer.status_code == 422
    assert 'href="#id_new_password"' in answer.content.decode()


def test_time_zones_stand_by_region(desk: Client, mill: Mill) -> None:
    html = page(desk, "/settings/")
    europe = html[html.index('<optgroup label="Europe">') :].split("</optgroup>")[0]
    assert '<option value="Europe/Vienna" selected>Vienna</option>' in europe
    assert '<option value="America/Argentina/Buenos_Aires">Argentina, Buenos Aires</option>' in html
    others = html[html.index('<optgroup label="Others">') :].split("</optgroup>")[0]
    assert '<option value="UTC">UTC</option>' in others
    assert desk.post("/settings/", {"name": "Mill", "time_zone": "Europe/Paris"}).status_code == 302
    assert Mill.current().time_zone == "Europe/Paris"
