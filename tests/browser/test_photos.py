"""Photos in a real browser: sent by the plain form as by the script, shown, upright and small."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import findings
from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from tests.service.photographs import photo
from wearlog.people.models import Mill, User
from wearlog.service.models import Photo

SignIn = Callable[[Page, User], None]


@pytest.fixture
def shop(fresh_log: None, settings: Any, tmp_path: Path) -> LookMill:
    settings.DATA_DIR = tmp_path
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    User.objects.create_user("owner", name="Olga", role="owner")
    return LookMill(timezone.now())


@pytest.mark.parametrize("script", [True, False])
def test_a_photo_is_taken_with_the_work_and_seen_in_the_log(
    script: bool, context_of: MakeContext, sign_in: SignIn, shop: LookMill, tmp_path: Path
) -> None:
    page = context_of(
        viewport={"width": 360, "height": 740}, java_script_enabled=script, bypass_csp=True
    ).new_page()
    sign_in(page, User.objects.get())
    taken = tmp_path / "IMG_1.jpg"
    taken.write_bytes(photo((1200, 900), orientation=6))
    page.goto(f"/log/work/?press={shop.north.pk}&action=clean")
    page.get_by_label("What was found").fill("Varnish on flight 3")
    page.get_by_label("Photo").set_input_files(taken)
    page.get_by_role("button", name="Save the work").click()
    expect(page.get_by_text("Cleaned North press")).to_be_visible()
    page.goto("/log/")
    small = page.get_by_role("img", name="Photo 1: Cleaned")
    expect(small).to_be_visible()
    assert (small.get_attribute("width"), small.get_attribute("height")) == ("240", "320")
    if script:
        expect(small).to_have_js_property("complete", True)
        expect(small).to_have_js_property("naturalHeight", 320)
        assert findings(page) == []
        page.goto(f"/photos/{Photo.objects.get().name}/delete/")
        expect(page.get_by_label("Why is it deleted?")).to_be_visible()
        assert findings(page) == []
    taken_photo = f"/photos/{Photo.objects.get().name}/"
    assert page.request.get(taken_photo).status == 200

    # From its entry it is deleted with two taps and a reason.
    page.goto("/log/")
    page.locator("a.entry").filter(has_text="Cleaned").click()
    page.get_by_role("link", name="Delete photo 1").click()
    page.get_by_label("Why is it deleted?").fill("somebody's face")
    page.get_by_role("button", name="Delete the photo").click()
    expect(page.get_by_role("link", name="Delete photo 1")).to_have_count(0)
    assert page.request.get(taken_photo).status == 404
    assert not Photo.objects.exists()


def test_a_refused_photo_leaves_the_words_and_says_at_the_field_what_to_do(
    page: Page, sign_in: SignIn, shop: LookMill, tmp_path: Path
) -> None:
    sign_in(page, User.objects.get())
    taken = tmp_path / "IMG_2.heic"
    taken.write_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 400)
    page.goto(f"/log/incident/?press={shop.north.pk}")
    page.get_by_label("leak").check()
    page.get_by_label("What was seen").fill("Oil at the rear seal")
    page.get_by_label("Photo").set_input_files(taken)
    page.get_by_role("button", name="Report it").click()
    expect(page.get_by_text("no photo that can be read here").first).to_be_visible()
    expect(page.get_by_label("What was seen")).to_have_value("Oil at the rear seal")
