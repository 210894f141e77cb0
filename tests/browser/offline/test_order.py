"""One entry that is refused, asked about or forgotten jams nothing: what does not build on it is sent."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.browser.axe import findings
from tests.browser.program import MakeContext
from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting, Position
from wearlog.people.models import Role, User
from wearlog.runs.models import Run, ShiftNote

SignIn = Callable[[Page, User], None]
ALL_SENT = "Everything typed on this device has been sent."
NO_WEIGHT = "Write what one bag weighs."


@pytest.fixture
def pocket(context_of: MakeContext) -> BrowserContext:
    return context_of(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, bypass_csp=True)


@pytest.fixture
def page(pocket: BrowserContext, sign_in: SignIn, shop: Shop) -> Page:
    """Her phone, with her signed in."""
    opened = pocket.new_page()
    sign_in(opened, User.objects.create_user("ines", name="Ines", role=Role.OPERATOR))
    return opened


def open_run(page: Page, shop: Shop) -> None:
    page.goto(f"/log/run/?press={shop.north.pk}")


def type_run(page: Page, number: str, seed: str, unit: str = "kg") -> None:
    """`number` is what the page asks for first: hours, or what the meter shows."""
    page.get_by_text("rapeseed", exact=True).tap()
    page.locator("#id_meter_h, #id_hours_h").first.fill(number)
    page.get_by_label("Seed pressed").fill(seed)
    page.locator("#id_seed_unit").select_option(unit)
    page.get_by_role("button", name="Save the run").tap()


def unsent(page: Page, words: str) -> None:
    expect(page.locator("#unsent")).to_have_text(words)


def leave_a_note(page: Page, text: str) -> None:
    page.get_by_label("For whoever comes next").fill(text)
    page.get_by_role("button", name="Leave the note").tap()


def two_meter_runs_without_a_network(page: Page, shop: Shop) -> None:
    """The first lacks the weight of a bag; the second counts its hours from the meter of the first."""
    shop.reading(shop.north, "100", timezone.now() - timedelta(hours=20))
    open_run(page, shop)
    page.context.set_offline(True)
    page.get_by_text("Other times, meter").tap()
    earlier = timezone.localtime(timezone.now() - timedelta(hours=2), ZoneInfo("Europe/Vienna"))
    page.get_by_label("Ended").fill(earlier.strftime("%Y-%m-%dT%H:%M"))
    type_run(page, "104", "8", "bag")
    unsent(page, "1 entry is not sent yet")
    page.get_by_role("button", name="Log another").tap()
    type_run(page, "105.5", "150")
    unsent(page, "2 entries are not sent yet")
    page.context.set_offline(False)


def test_a_refused_run_left_open_holds_back_no_run_that_is_typed_with_a_network(
    page: Page, shop: Shop
) -> None:
    open_run(page, shop)
    type_run(page, "0.01", "8", "bag")
    expect(page.get_by_role("alert")).to_contain_text(NO_WEIGHT)
    expect(page.locator("#unsent")).to_be_hidden()  # it stands before the person, and is not "not sent"
    for kilograms in ("2", "3"):
        open_run(page, shop)
        unsent(page, "1 entry was not taken")
        type_run(page, "0.01", kilograms)
        expect(page.get_by_text(f"Saved: {kilograms} kg of rapeseed on North press")).to_be_visible()
    assert [run.seed_kg for run in Run.objects.order_by("pk")] == [2, 3]


def test_a_forgotten_fitting_holds_back_no_other_fitting(page: Page, shop: Shop) -> None:
    spare_place = Position.objects.create(press=shop.north, name="second die", kind="die")
    for place, choose in ((shop.right, False), (spare_place, True)):
        page.goto(f"/log/fitting/?position={place.pk}")
        page.context.set_offline(True)
        if choose:
            page.locator("[name=new]").first.check(force=True)
        page.get_by_role("button", name="Save the fitting").tap()
        expect(page.get_by_text("kept on this device")).to_be_visible()
        page.context.set_offline(False)
        if not choose:
            page.goto("/log/waiting/")
            expect(page.locator("#waiting-list").get_by_text("Not taken:")).to_be_visible()
    page.goto("/log/waiting/")
    expect(page.locator("#waiting-list article")).to_have_count(1)
    assert Fitting.objects.filter(position=spare_place).count() == 1


def test_runs_that_build_on_a_refused_one_say_so_and_follow_once_it_is_mended(page: Page, shop: Shop) -> None:
    two_meter_runs_without_a_network(page, shop)
    page.goto("/log/note/")
    leave_a_note(page, "belt squeals")
    expect(page.get_by_text("The note stands on the day page.")).to_be_visible()
    unsent(page, "1 entry is not sent yet · 1 entry was not taken")
    page.goto("/log/waiting/")
    held = page.locator("#waiting-list article").nth(1)
    expect(held).to_contain_text("Waits behind your run of ")
    expect(held).to_contain_text(NO_WEIGHT)
    assert findings(page) == []
    assert not Run.objects.exists()
    held.get_by_role("link", name="Mend it on its page").tap()
    expect(page.get_by_role("alert")).to_contain_text(NO_WEIGHT)
    expect(page.get_by_label("Seed pressed")).to_have_value("8")
    assert findings(page) == []
    page.get_by_label("One bag weighs").fill("20")
    page.get_by_role("button", name="Save the run").tap()
    expect(page.get_by_text("Saved: 160 kg of rapeseed on North press")).to_be_visible()
    page.goto("/log/waiting/")
    expect(page.get_by_text(ALL_SENT)).to_be_visible()
    assert [run.seed_kg for run in Run.objects.order_by("pk")] == [160, 150]


def test_what_waits_goes_out_once_what_it_waits_for_is_thrown_away(page: Page, shop: Shop) -> None:
    two_meter_runs_without_a_network(page, shop)
    page.goto("/log/waiting/")
    held = page.locator("#waiting-list article").nth(1)
    expect(held).to_contain_text("Waits behind your run of ")
    held.get_by_role("button", name="Throw that one away").tap()
    page.get_by_role("button", name="Really throw away what was typed").tap()
    expect(page.get_by_text(ALL_SENT)).to_be_visible()
    assert Run.objects.get().seed_kg == Decimal(150)


def test_a_form_without_a_network_says_what_its_entry_waits_for(page: Page, shop: Shop) -> None:
    shop.reading(shop.north, "100", timezone.now() - timedelta(hours=20))
    open_run(page, shop)
    type_run(page, "100.1", "8", "bag")
    expect(page.get_by_role("alert")).to_contain_text(NO_WEIGHT)
    open_run(page, shop)
    page.context.set_offline(True)
    type_run(page, "105.5", "150")
    note = page.locator("#kept")
    expect(note).to_contain_text("No network: the entry is kept on this device")
    expect(note).to_contain_text("Waits behind your run of ")
    expect(note).to_contain_text(NO_WEIGHT)
    expect(note.get_by_role("link", name="Mend it on its page")).to_be_visible()
    assert findings(page) == []
    page.context.set_offline(False)
    note.get_by_role("button", name="Throw that one away").tap()
    note.get_by_role("button", name="Really throw away what was typed").tap()
    expect(page.locator("#unsent")).to_be_hidden()
    assert Run.objects.get().seed_kg == Decimal(150)


def test_a_server_that_is_busy_is_not_called_no_network_and_is_asked_again_when_it_says(page: Page) -> None:
    page.goto("/log/note/")
    asked = []

    def busy(route: Route) -> None:
        asked.append(route.request.url)
        body = json.dumps({"state": "busy", "text": "An import is running: nothing was saved."})
        route.fulfill(status=503, headers={"Retry-After": "2"}, content_type="application/json", body=body)

    page.route("**/log/note/", busy)
    leave_a_note(page, "belt squeals")
    expect(page.locator("#kept")).to_contain_text("An import is running: nothing was saved.")
    expect(page.locator("#kept")).to_contain_text("The server can't take the entry now")
    expect(page.locator("#kept")).not_to_contain_text("No network")
    unsent(page, "1 entry is not sent yet")
    page.evaluate("flush()")  # another page opens, say: the server has said when
    page.unroute("**/log/note/")
    assert len(asked) == 1
    expect(page.locator("#unsent")).to_be_hidden()
    assert ShiftNote.objects.get().text == "belt squeals"


def test_an_entry_on_which_the_server_stumbles_each_time_holds_back_no_other(page: Page) -> None:
    page.goto("/log/note/")
    page.context.set_offline(True)
    leave_a_note(page, "belt squeals")
    page.get_by_role("button", name="Log another").tap()
    leave_a_note(page, "oil in the tray")
    unsent(page, "2 entries are not sent yet")

    def stumble(route: Route) -> None:
        if "squeals" in (route.request.post_data or ""):
            return route.fulfill(status=500, content_type="text/html", body="<h1>Server error</h1>")
        return route.continue_()

    page.route("**/log/note/", stumble)
    page.context.set_offline(False)
    unsent(page, "1 entry is not sent yet")
    assert ShiftNote.objects.get().text == "oil in the tray"
    page.unroute("**/log/note/")
    expect(page.locator("#unsent")).to_be_hidden()
    assert ShiftNote.objects.count() == 2


START = {"kind": "run", "press": "1", "start": "1"}
STOP = {"kind": "stop", "at": "1"}
BY_HOURS = {"kind": "run", "press": "1", "hours_h": "7.5"}
BY_METER = {"kind": "run", "press": "1", "meter_h": "104"}
READING = {"kind": "reading", "press": "1", "meter_h": "104"}
NEW_METER = {"kind": "reading", "press": "1", "meter_h": "2", "new_meter": "on"}
FLIP = {"kind": "work", "press": "1", "position": "3", "fitting": "5", "action": "flip"}
CLEAN = {"kind": "work", "press": "1", "position": "3", "fitting": "5", "action": "clean"}
CLEAN_PRESS = {"kind": "work", "press": "1", "action": "clean"}
FIT = {"kind": "move", "position": "3", "new": "9"}
TAKE_OFF = {"kind": "move", "place": "3", "fitting": "5"}
SWAP = {"kind": "move", "place": "3", "fitting": "5", "second": "6"}
OTHER_DIE = {"kind": "crop-change", "press": "1", "die_3": "9:A", "fitting_3": "5"}
SHEET = {"kind": "sheet", "press1-seed": "400", "press1-hours_h": "8", "press2-seed": "300"}
METERED = {**SHEET, "press1-hours_h": "", "press1-meter_h": "104"}
SAME_DIE = {**OTHER_DIE, "die_3": "keep"}
WAITS = [
    (STOP, START), (STOP, BY_HOURS), (START, BY_HOURS), (START, BY_METER),
    (BY_HOURS, BY_METER), (BY_METER, BY_METER), (READING, BY_METER), (STOP, BY_METER),
    (NEW_METER, READING), (NEW_METER, BY_METER),
    (FLIP, FLIP), (FLIP, CLEAN), (TAKE_OFF, FIT), (SWAP, TAKE_OFF),
    (SWAP, {**FLIP, "position": "4", "fitting": "6"}),
    (START, SHEET), (STOP, SHEET), (SHEET, BY_METER), (BY_HOURS, METERED), (NEW_METER, METERED),
    (OTHER_DIE, FLIP), (FLIP, OTHER_DIE), (OTHER_DIE, CLEAN), (OTHER_DIE, OTHER_DIE),
]  # fmt: skip
PASSES = [
    (BY_HOURS, BY_HOURS), (BY_METER, BY_HOURS), (BY_METER, START), (START, STOP), (READING, READING),
    (BY_METER, {**BY_METER, "press": "2"}), (START, {**START, "press": "2"}), (NEW_METER, BY_HOURS),
    (CLEAN, FLIP), (CLEAN_PRESS, FLIP), (FLIP, CLEAN_PRESS), (FLIP, BY_HOURS), (BY_HOURS, FLIP),
    (FIT, {**FIT, "position": "4"}), (FLIP, {**FLIP, "position": "4", "fitting": "6"}),
    (FLIP, {"kind": "note", "text": "belt squeals"}), (FLIP, {"kind": "incident", "press": "1"}),
    (SHEET, SHEET), (BY_HOURS, SHEET), ({**START, "press": "3"}, SHEET), (SHEET, {**BY_METER, "press": "3"}),
    (FLIP, SAME_DIE), (SAME_DIE, FLIP), (OTHER_DIE, BY_HOURS),
    (FLIP, {**OTHER_DIE, "die_3": "keep", "die_4": "2:A"}),
]  # fmt: skip
WAIT = """(pairs) => pairs.map((pair) => {
  const all = pair.map(({ kind, at, place, ...fields }, number) => {
    const form = document.createElement("form");
    Object.assign(form.dataset, { queue: kind, ...(at && { press: at }), ...(place && { place }) });
    const data = new FormData();
    for (const [name, value] of Object.entries(fields)) data.set(name, value);
    return { id: String(number), who: "1", at: number, fields: [], ...orderOf(form, data) };
  });
  return waitsFor(all[1], all).length > 0;
})"""


def test_only_what_is_read_by_what_an_earlier_entry_changes_waits_for_it(page: Page) -> None:
    page.goto("/log/waiting/")
    waits = page.evaluate(WAIT, WAITS)
    assert [pair for pair, told in zip(WAITS, waits, strict=True) if not told] == []
    waits = page.evaluate(WAIT, PASSES)
    assert [pair for pair, told in zip(PASSES, waits, strict=True) if told] == []
