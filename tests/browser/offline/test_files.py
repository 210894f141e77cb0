"""Photos without a network: kept on the phone, made smaller, without the place, sent with their entry."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.program import MakeContext
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import ShiftNote
from wearlog.web.log.views.events import NoteNew

SignIn = Callable[[Page, User], None]
GPS_IFD, LATITUDE_REF, LATITUDE = 0x8825, 1, 2
"""Tags of the EXIF standard."""


@pytest.fixture
def ines(fresh_log: None) -> User:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    Shop()
    return User.objects.create_user("ines", name="Ines", role=Role.OPERATOR)


@pytest.fixture
def pocket(context_of: MakeContext) -> BrowserContext:
    return context_of(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)


@pytest.fixture
def arrived(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, bytes, str]]:
    """Name, content and kind of each file that came with a note."""
    files: list[tuple[str, bytes, str]] = []
    act = NoteNew.act

    def seen(page: NoteNew, *args: Any) -> Any:
        for file in page.request.FILES.getlist("picture"):
            file.seek(0)
            files.append((str(file.name), file.read(), str(file.content_type)))
        return act(page, *args)

    monkeypatch.setattr(NoteNew, "act", seen)
    return files


def photo(width: int, height: int) -> bytes:
    picture = Image.effect_noise((width, height), 80).convert("RGB")
    exif = Image.Exif()
    exif.get_ifd(GPS_IFD).update({LATITUDE_REF: "N", LATITUDE: (48.0, 12.0, 30.0)})
    stream = io.BytesIO()
    picture.save(stream, "JPEG", exif=exif, quality=90)
    taken = stream.getvalue()
    assert Image.open(io.BytesIO(taken)).getexif().get_ifd(GPS_IFD)
    return taken


def note_with(page: Page, *files: dict[str, Any]) -> None:
    """The note's page with a field for files, so that the queue is tried with any form that has one."""
    page.goto("/log/note/")
    page.evaluate(
        """() => {
          const field = document.createElement("input");
          Object.assign(field, {type: "file", name: "picture", id: "picture", multiple: true});
          const label = document.createElement("label");
          Object.assign(label, {textContent: "Picture", htmlFor: "picture"});
          document.querySelector("form[data-queue] .buttons").before(label, field);
        }"""
    )
    page.locator("#picture").set_input_files(list(files))  # type: ignore[arg-type]
    page.get_by_label("For whoever comes next").fill("a crack at the cage")
    page.get_by_role("button", name="Leave the note").tap()


def test_a_photo_is_kept_without_a_network_smaller_and_without_its_place_and_arrives(
    pocket: BrowserContext, sign_in: SignIn, ines: User, arrived: list[tuple[str, bytes, str]]
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto("/log/note/")
    taken = photo(3000, 1500)
    page.route("**/log/waiting/token/", lambda route: route.abort())
    note_with(page, {"name": "cage.of.press.jpeg", "mimeType": "image/jpeg", "buffer": taken})
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    page.close()
    again = pocket.new_page()
    again.goto("/log/waiting/")
    expect(again.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert ShiftNote.objects.get().text == "a crack at the cage"
    [(name, content, kind)] = arrived
    assert (name, kind) == ("cage.of.press.jpg", "image/jpeg")
    picture = Image.open(io.BytesIO(content))
    assert picture.size == (2000, 1000)
    assert dict(picture.getexif()) == {}
    assert len(content) < len(taken)


def test_what_is_no_photo_is_sent_as_it_is_and_an_empty_field_sends_none(
    pocket: BrowserContext, sign_in: SignIn, ines: User, arrived: list[tuple[str, bytes, str]]
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    note_with(page, {"name": "sound.bin", "mimeType": "audio/ogg", "buffer": b"squeal" * 100})
    expect(page.get_by_text("The note stands on the day page.")).to_be_visible()
    assert arrived == [("sound.bin", b"squeal" * 100, "audio/ogg")]
    note_with(page)
    expect(page.get_by_text("The note stands on the day page.")).to_be_visible()
    assert len(arrived) == 1


def test_the_list_of_what_waits_names_the_photo(
    pocket: BrowserContext, sign_in: SignIn, ines: User, arrived: list[tuple[str, bytes, str]]
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.route("**/log/waiting/token/", lambda route: route.abort())
    note_with(page, {"name": "cage.jpg", "mimeType": "image/jpeg", "buffer": photo(80, 60)})
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    page.goto("/log/waiting/")
    expect(page.locator("#waiting-list")).to_contain_text("cage.jpg")
    page.unroute("**/log/waiting/token/")
    page.get_by_role("button", name="Send now").tap()
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Image.open(io.BytesIO(arrived[0][1])).size == (80, 60)
