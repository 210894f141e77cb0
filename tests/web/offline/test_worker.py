"""What lets a phone open pages without a network: the script at the root, the marks, the home screen."""

from __future__ import annotations

import json

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, User
from wearlog.web.offline.views import worker


def test_the_script_stands_at_the_root_and_a_browser_asks_for_it_anew(client: Client, mill: Mill) -> None:
    answer = client.get("/worker.js")
    assert answer["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer["Cache-Control"] == "no-cache"
    assert "worker-src 'self'" in answer["Content-Security-Policy"]
    again = client.get("/worker.js", headers={"If-None-Match": answer["ETag"]})
    assert again.status_code == 304


def test_the_script_says_nothing_of_anybody(client: Client, operator: User) -> None:
    before = client.get("/worker.js").content
    client.force_login(operator)
    assert client.get("/worker.js").content == before


def test_a_change_of_any_script_or_style_sheet_is_a_new_version(
    client: Client, mill: Mill, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = worker.FOLDER
    copy = type(folder)(str(tmp_path)) / "web"
    copy.mkdir()
    for path in folder.iterdir():
        (copy / path.name).write_bytes(path.read_bytes())
    monkeypatch.setattr(worker, "FOLDER", copy)
    before = worker.fingerprint()
    (copy / "paper.css").write_text("p { color: red }")
    assert worker.fingerprint() != before


def test_pages_of_the_log_are_marked_as_fit_to_be_kept_with_whose_they_are(
    client: Client, shop: Shop, operator: User
) -> None:
    client.force_login(operator)
    for address in (
        "/", "/log/waiting/", f"/log/run/?press={shop.north.pk}", "/log/run/", "/log/sheet/", "/log/note/",
        f"/log/work/?press={shop.north.pk}", f"/log/work/?fitting={shop.d1_on.pk}&action=flip",
    ):  # fmt: skip
        answer = client.get(address)
        assert (answer.status_code, answer["X-Wearlog-Keep"]) == (200, "yes"), address
        assert answer["X-Wearlog-Who"] == str(operator.pk)


def test_pages_of_an_owner_and_records_of_locks_are_never_kept(
    client: Client, shop: Shop, owner: User
) -> None:
    client.force_login(owner)
    for address in (
        "/people/", "/people/new/", "/prices/", "/settings/", "/me/", "/exchange/", "/log/", "/presses/",
        f"/presses/{shop.north.pk}/", f"/presses/{shop.north.pk}/isolation/", "/sign-in/", "/worth/pays/",
    ):  # fmt: skip
        answer = client.get(address)
        assert answer.status_code in (200, 302), address
        assert "X-Wearlog-Keep" not in answer.headers, address


def test_what_is_posted_is_never_marked(client: Client, shop: Shop, operator: User) -> None:
    client.force_login(operator)
    answer = client.post("/log/note/", {"text": ""})
    assert answer.status_code == 422
    assert "X-Wearlog-Keep" not in answer.headers


def test_the_home_screen_finds_its_icons(client: Client, mill: Mill) -> None:
    answer = client.get("/app.webmanifest")
    assert answer["Content-Type"] == "application/manifest+json"
    told = json.loads(answer.content)
    assert (told["start_url"], told["scope"], told["display"]) == ("/", "/", "standalone")
    sizes = {}
    for icon in told["icons"]:
        path = finders.find(icon["src"].removeprefix("/static/"))
        assert isinstance(path, str)
        with open(path, "rb") as stream:
            sizes[icon["sizes"]] = stream.read(8)
    # Phones ask for these two sizes (from memory).
    assert {"192x192", "512x512"} <= set(sizes)
    assert sizes["192x192"] == sizes["512x512"] == b"\x89PNG\r\n\x1a\n"
