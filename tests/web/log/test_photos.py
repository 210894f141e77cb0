"""Photos from the phone: sent with an entry or added to one, shown small, served to who is signed in."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client, TestCase
from django.test.utils import CaptureQueriesContext

from tests.mills.log_shop import Shop
from tests.service.photographs import header_of_png, opened, photo
from tests.web.html import flat
from tests.web.log.sheets import text
from wearlog.people.models import Role, User
from wearlog.runs.models import ShiftNote
from wearlog.service.models import Incident, Photo, Service
from wearlog.service.photos import path_of
from wearlog.web.site.forms import new_ref


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    return tmp_path / "photos"


def sent(data: bytes = b"", name: str = "IMG_0001 Ada's place.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data or photo(), content_type="image/jpeg")


def work(shop: Shop, **more: Any) -> dict[str, Any]:
    return {
        "ref": new_ref(),
        "press": shop.north.pk,
        "position": shop.screw_place.pk,
        "fitting": shop.s1_on.pk,
        "action": "inspect",
        "finding": "flight 1 is worn",
        **more,
    }


def test_the_forms_open_the_camera_and_are_sent_as_files_without_any_script(
    phone: Client, shop: Shop
) -> None:
    for address in (
        f"/log/work/?press={shop.north.pk}&fitting={shop.s1_on.pk}&action=inspect",
        f"/log/incident/?press={shop.north.pk}",
        "/log/note/",
    ):
        page = phone.get(address).content.decode()
        (tag,) = re.findall(r'<input type="file"[^>]*>', page)
        for wanted in ('name="photo"', 'accept="image/*"', 'capture="environment"'):
            assert wanted in tag, address
        assert "required" not in tag
        assert 'enctype="multipart/form-data"' in page
        # A note by voice is the phone's own dictation into a field for words.
        assert "<textarea" in page


def test_work_with_two_photos_shows_them_small_in_log_record_and_part(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/work/", work(shop, photo=[sent(), sent(photo((300, 200)))]))
    assert answer.status_code == 302
    service = Service.objects.get()
    assert service.photos.count() == 2
    for address in ("/log/", f"/log/work/{service.pk}/", f"/parts/{shop.s1.pk}/"):
        page = flat(phone.get(address).content.decode())
        shown = re.findall(
            r'<img src="(/photos/[0-9a-f]{32}/small/)" width="(\d+)" height="(\d+)"[^>]*>', page
        )
        assert [(width, height) for _, width, height in shown] == [("320", "240"), ("300", "200")], address
        assert len(re.findall(r'alt="Photo [12]: [^"]*S-1[^"]*"', page)) == 2, address


def test_an_incident_and_a_note_take_photos_too(phone: Client, shop: Shop) -> None:
    phone.post("/log/incident/", {"ref": new_ref(), "press": shop.north.pk, "kind": "leak", "photo": sent()})
    assert Incident.objects.get().photos.count() == 1
    phone.post("/log/note/", {"text": "Look at this.", "photo": sent()})
    assert ShiftNote.objects.get().photos.count() == 1
    assert phone.get("/log/").content.decode().count("/small/") == 2


def test_an_entry_without_a_photo_is_what_it_was(phone: Client, shop: Shop, folder: Path) -> None:
    assert phone.post("/log/work/", work(shop)).status_code == 302
    assert Service.objects.count() == 1
    assert not folder.exists()


def test_the_photo_is_served_as_what_it_is_and_only_to_who_is_signed_in(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop, photo=sent()))
    kept = Photo.objects.get()
    answer = phone.get(f"/photos/{kept.name}/")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "private, max-age=86400, immutable"
    assert re.fullmatch(
        r'inline; filename="photo-\d{4}-\d\d-\d\d-[0-9a-f]{8}\.jpg"', answer["Content-Disposition"]
    )
    assert opened(answer.content).size == (400, 300)
    assert dict(opened(answer.content).getexif()) == {}
    assert opened(phone.get(f"/photos/{kept.name}/small/").content).size == (320, 240)
    phone.logout()
    for address in (f"/photos/{kept.name}/", f"/photos/{kept.name}/small/"):
        assert phone.get(address).status_code == 302


@pytest.mark.parametrize("name", ["0" * 32, "secret_key", "-", "wearlog"])
def test_a_name_that_no_photo_has_is_not_found_whatever_lies_on_the_disk(
    phone: Client, shop: Shop, folder: Path, name: str
) -> None:
    (folder / name[:2]).mkdir(parents=True)
    path_of(name).write_bytes(b"secret")
    assert phone.get(f"/photos/{name}/").status_code == 404


def test_a_photo_whose_file_is_gone_is_not_found_and_the_pages_stand(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop, photo=sent()))
    path_of(Photo.objects.get().name).unlink()
    assert phone.get(f"/photos/{Photo.objects.get().name}/").status_code == 404
    assert phone.get("/log/").status_code == 200


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\0\0\0\x18ftypheic" + b"\0" * 40, "no photo that can be read here"),
        (header_of_png(9000, 9000), "more than 25 million pixels"),
        (b"<html>", "no photo that can be read here"),
    ],
)
def test_what_cant_be_kept_is_said_at_the_field_and_nothing_typed_is_lost(
    phone: Client, shop: Shop, data: bytes, words: str
) -> None:
    answer = phone.post("/log/work/", work(shop, photo=sent(data)))
    assert answer.status_code == 422
    assert words in text(answer)
    assert "Choose the photo once more" in text(answer)
    assert "flight 1 is worn</textarea>" in answer.content.decode()
    assert not Service.objects.exists()


def test_too_many_at_a_time_are_refused(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/work/", work(shop, photo=[sent() for _ in range(7)]))
    assert "At most 6 photos at a time." in text(answer)


def test_a_full_disk_loses_the_photo_and_not_the_entry(
    phone: Client, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wearlog.service.photos.write_through", full)
    answer = phone.post("/log/work/", work(shop, photo=sent()), follow=True)
    said = text(answer)
    assert "The entry is saved, but its photo is not" in said
    assert "No space left on device" in said
    service = Service.objects.get()
    assert not Photo.objects.exists()
    again = phone.post(f"/log/work/{service.pk}/photo/", {"photo": sent()})
    assert again.status_code == 422
    assert "Have room made there." in text(again)
    monkeypatch.undo()
    phone.post(f"/log/work/{service.pk}/photo/", {"photo": sent()})
    assert service.photos.count() == 1


def test_the_page_sent_twice_has_its_photo_once(phone: Client, shop: Shop) -> None:
    entry = work(shop)
    for _ in range(2):
        phone.post("/log/work/", entry | {"photo": sent()})
    assert Service.objects.count() == 1
    assert Photo.objects.count() == 1


def test_an_entry_of_the_phones_queue_brings_its_photo_once(phone: Client, shop: Shop) -> None:
    entry = work(shop)
    for _ in range(2):
        answer = phone.post("/log/work/", entry | {"photo": sent()}, headers={"X-Wearlog-Queue": "q-1"})
        assert answer.json()["state"] == "saved"
    assert Photo.objects.count() == 1


def test_a_photo_is_added_later_and_the_history_says_so(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop))
    service = Service.objects.get()
    page = phone.get(f"/log/work/{service.pk}/").content.decode()
    assert f'href="/log/work/{service.pk}/photo/"' in page
    answer = phone.post(f"/log/work/{service.pk}/photo/", {"photo": sent()}, follow=True)
    assert "The photo is kept with the entry." in text(answer)
    assert "add photo" in text(answer).lower()


def test_adding_none_asks_for_one(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop))
    answer = phone.post(f"/log/work/{Service.objects.get().pk}/photo/", {})
    assert answer.status_code == 422
    assert "Choose a photo, or take one." in text(answer)


def test_the_photos_of_a_page_of_the_log_are_one_query(phone: Client, shop: Shop) -> None:
    for number in range(4):
        phone.post("/log/work/", work(shop, photo=sent(photo((100 + number, 80)))))
    phone.get("/log/")
    with CaptureQueriesContext(connection) as asked:
        phone.get("/log/")
    assert sum("service_photo" in query["sql"] for query in asked.captured_queries) == 1
    assert len(asked) <= 30


def test_a_run_takes_no_photo(phone: Client, shop: Shop) -> None:
    assert phone.get("/log/run/1/photo/").status_code == 404


def test_a_photo_is_deleted_with_a_reason_that_its_entry_keeps(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop, photo=sent()))
    service, taken = Service.objects.get(), Photo.objects.get()
    page = f"/photos/{taken.name}/delete/"
    assert page in phone.get(f"/log/work/{service.pk}/").content.decode()
    assert phone.post(page, {"reason": " "}).status_code == 422
    assert path_of(taken.name).is_file()
    with TestCase.captureOnCommitCallbacks(execute=True):
        answer = phone.post(page, {"reason": "shows Ada's face"}, follow=True)
    assert "The photo is deleted." in answer.content.decode()
    assert Photo.objects.count() == 0
    assert not path_of(taken.name).exists()
    assert not path_of(taken.name, small=True).exists()
    history = flat(phone.get(f"/log/work/{service.pk}/").content.decode())
    assert "delete photo" in history
    assert "shows Ada&#x27;s face" in history
    assert phone.get(f"/photos/{taken.name}/").status_code == 404


def test_who_may_not_change_an_entry_may_not_delete_its_photo(client: Client, shop: Shop) -> None:
    ada = User.objects.create_user("ada", role=Role.OPERATOR)
    client.force_login(ada)
    client.post("/log/work/", work(shop, photo=sent()))
    taken = Photo.objects.get()
    client.force_login(User.objects.create_user("ben", role=Role.OPERATOR))
    assert client.post(f"/photos/{taken.name}/delete/", {"reason": "not mine"}).status_code == 403
    assert Photo.objects.count() == 1
    assert path_of(taken.name).is_file()
