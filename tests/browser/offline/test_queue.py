"""No network at the press: what is typed is kept on the phone and arrives, once, when there is one again."""

from __future__ import annotations

import time
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
from wearlog.equipment.models import Fitting
from wearlog.people.models import Role, Session, User
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Service
from wearlog.web.models import QueuedEntry

SignIn = Callable[[Page, User], None]


@pytest.fixture
def ines(shop: Shop) -> User:
    return User.objects.create_user("ines", name="Ines", role=Role.OPERATOR)


@pytest.fixture
def pocket(context_of: MakeContext) -> BrowserContext:
    return context_of(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, bypass_csp=True)


def run_page(pocket: BrowserContext, sign_in: SignIn, person: User, shop: Shop) -> Page:
    page = pocket.new_page()
    sign_in(page, person)
    page.goto(f"/log/run/?press={shop.north.pk}")
    return page


def type_run(page: Page, hours: str, kilograms: str) -> None:
    page.get_by_text("rapeseed", exact=True).tap()
    page.get_by_label("Hours pressed").fill(hours)
    page.get_by_label("Seed pressed").fill(kilograms)
    page.get_by_role("button", name="Save the run").tap()


def unsent(page: Page, words: str) -> None:
    expect(page.locator("#unsent")).to_have_text(words)


def test_runs_typed_without_a_network_arrive_in_order_when_it_is_back(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    pocket.set_offline(True)
    page.get_by_text("Other times, meter").tap()
    earlier = timezone.localtime(timezone.now() - timedelta(hours=1), ZoneInfo("Europe/Vienna"))
    page.get_by_label("Ended").fill(earlier.strftime("%Y-%m-%dT%H:%M"))
    type_run(page, "0.01", "1")
    expect(page.get_by_text("kept on this device")).to_be_visible()
    unsent(page, "1 entry is not sent yet")
    page.get_by_role("button", name="Log another").tap()
    type_run(page, "0.01", "2")
    unsent(page, "2 entries are not sent yet")
    assert findings(page) == []
    assert not Run.objects.exists()
    pocket.set_offline(False)
    expect(page.locator("#unsent")).to_be_hidden()
    assert [run.seed_kg for run in Run.objects.order_by("pk")] == [Decimal(1), Decimal(2)]
    assert all(run.ended_at is not None for run in Run.objects.all())


def test_with_a_network_a_run_is_saved_as_ever(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    type_run(page, "0.01", "3")
    expect(page.get_by_text("3 kg of rapeseed on North press")).to_be_visible()
    expect(page.locator("#unsent")).to_be_hidden()
    assert Run.objects.count() == 1


def test_a_closed_tab_loses_nothing(pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    pocket.set_offline(True)
    type_run(page, "0.01", "4")
    unsent(page, "1 entry is not sent yet")
    page.close()
    pocket.set_offline(False)
    again = pocket.new_page()
    again.goto("/parts/")
    expect(again.locator("#unsent")).to_be_hidden()
    again.wait_for_function("() => indexedDB.databases().then(all => all.length > 0)")
    again.goto("/log/waiting/")
    expect(again.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Run.objects.get().seed_kg == 4


def test_a_sign_in_that_ran_out_loses_nothing(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    Session.objects.all().delete()
    type_run(page, "0.01", "5")
    expect(page.get_by_text("You are signed out: the entry is kept")).to_be_visible()
    assert not Run.objects.exists()
    sign_in(page, ines)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Run.objects.get().entered_by == ines


def test_a_question_is_answered_from_the_list(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    for back in range(1, 6):
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=back), "8", "400", by=ines)
    page = run_page(pocket, sign_in, ines, shop)
    pocket.set_offline(True)
    type_run(page, "1", "900")
    unsent(page, "1 entry is not sent yet")
    pocket.set_offline(False)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Is this right?")).to_be_visible()
    assert findings(page) == []
    page.get_by_role("button", name="Yes, it is right: send it").tap()
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Run.objects.filter(seed_kg=900).count() == 1


def test_a_flip_that_somebody_else_was_quicker_with_is_shown_with_both_and_a_choice(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User, context_of: MakeContext
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto(f"/log/work/?fitting={shop.d1_on.pk}&action=flip")
    pocket.set_offline(True)
    page.get_by_role("button", name="Save the work").tap()
    unsent(page, "1 entry is not sent yet")
    other = context_of().new_page()
    sign_in(other, User.objects.create_user("olga", name="Olga", role=Role.OPERATOR))
    other.goto(f"/log/work/?fitting={shop.d1_on.pk}&action=flip")
    other.get_by_role("button", name="Save the work").click()
    expect(other.get_by_text("Flipped die D-1, edge A · North press.")).to_be_visible()
    pocket.set_offline(False)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Somebody else was quicker.")).to_be_visible()
    expect(page.get_by_role("link", name="Mend it on its page")).to_be_visible()
    page.get_by_role("button", name="Throw away").tap()
    page.get_by_role("button", name="Really throw away what was typed").tap()
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Service.objects.filter(action="flip").count() == 1
    assert Fitting.objects.filter(part=shop.d1).count() == 2


def test_what_was_refused_is_mended_with_what_was_typed_still_there(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    pocket.set_offline(True)
    type_run(page, "0.01", "4oo")
    unsent(page, "1 entry is not sent yet")
    pocket.set_offline(False)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Not taken:", exact=True)).to_be_visible()
    page.get_by_role("link", name="Mend it on its page").tap()
    expect(page.get_by_label("Seed pressed")).to_have_value("4oo")
    page.get_by_label("Seed pressed").fill("4")
    page.get_by_role("button", name="Save the run").tap()
    expect(page.get_by_text("4 kg of rapeseed on North press")).to_be_visible()
    expect(page.locator("#unsent")).to_be_hidden()
    assert Run.objects.get().seed_kg == 4


def test_an_error_with_a_network_is_shown_by_the_page_itself(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = run_page(pocket, sign_in, ines, shop)
    type_run(page, "0.01", "4oo")
    expect(page.get_by_role("alert")).to_contain_text("Not saved yet")
    expect(page.get_by_label("Seed pressed")).to_have_value("4oo")
    expect(page.locator("#unsent")).to_be_hidden()  # what stands before the person needs no line
    page.get_by_label("Hours pressed").fill("0.01")
    page.get_by_label("Seed pressed").fill("4")
    page.get_by_role("button", name="Save the run").tap()
    expect(page.get_by_text("Saved: 4 kg of rapeseed")).to_be_visible()
    expect(page.locator("#unsent")).to_be_hidden()
    assert Run.objects.count() == 1


@pytest.mark.parametrize("stored", [True, False])
def test_where_the_pages_own_answer_is_lost_the_entry_is_neither_lost_nor_doubled(
    stored: bool, pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    """With a network a question is asked by the page itself; the network goes before that page is there."""
    for back in range(1, 6):
        shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=back), "8", "400", by=ines)
    page = run_page(pocket, sign_in, ines, shop)

    def lose(route: Route) -> None:
        if route.request.method != "POST" or "x-wearlog-queue" in route.request.headers:
            return route.continue_()
        if stored:
            Run.objects.all().delete()  # what the question rested on is crossed out just now: it is stored
        route.fetch(max_redirects=0)
        return route.abort()

    page.route("**/log/run/**", lose)
    with page.expect_event("requestfailed", lambda request: request.method == "POST"):
        type_run(page, "1", "900")
    page.wait_for_url("chrome-error://**")
    assert Run.objects.filter(seed_kg=900).count() == stored
    page.goto("/log/waiting/")
    if not stored:
        page.get_by_role("button", name="Yes, it is right: send it").tap()
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Run.objects.filter(seed_kg=900).count() == 1


def test_a_second_touch_while_the_next_page_is_on_its_way_is_no_second_entry(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto(f"/log/reading/?press={shop.north.pk}")
    page.locator("#id_meter_h").fill("100")
    page.route("**/log/after/**", lambda route: (time.sleep(1), route.continue_()))
    page.evaluate("setInterval(() => document.querySelector('form[data-queue] button.main').click(), 10)")
    page.wait_for_url("/")
    assert (Reading.objects.count(), QueuedEntry.objects.count()) == (1, 1)
    expect(page.locator("#unsent")).to_be_hidden()


def test_a_sheet_of_all_presses_typed_without_a_network_arrives_once_and_ended_when_it_was_typed(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto("/log/sheet/")
    pocket.set_offline(True)
    for press, seed in ((shop.north, "1"), (shop.twin, "2")):
        page.locator(f"[name=press{press.pk}-crop]").select_option(str(shop.rape.pk))
        page.locator(f"[name=press{press.pk}-hours_h]").fill("0.01")
        page.locator(f"[name=press{press.pk}-seed]").fill(seed)
    typed_at = timezone.now()
    page.get_by_role("button", name="Save the sheet").tap()
    expect(page.get_by_text("kept on this device")).to_be_visible()
    unsent(page, "1 entry is not sent yet")
    assert findings(page) == []
    assert not Run.objects.exists()
    pocket.set_offline(False)
    expect(page.locator("#unsent")).to_be_hidden()
    runs = list(Run.objects.order_by("seed_kg"))
    assert [(run.press, run.seed_kg) for run in runs] == [(shop.north, 1), (shop.twin, 2)]
    assert all(run.ends_at is not None and abs(run.ends_at - typed_at) < timedelta(minutes=2) for run in runs)


def test_a_sheet_with_a_refused_line_waits_for_its_person_and_says_which(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto("/log/sheet/")
    pocket.set_offline(True)
    page.locator(f"[name=press{shop.north.pk}-hours_h]").fill("0.01")
    page.locator(f"[name=press{shop.north.pk}-seed]").fill("1x")
    page.get_by_role("button", name="Save the sheet").tap()
    expect(page.get_by_text("kept on this device")).to_be_visible()
    pocket.set_offline(False)
    unsent(page, "1 entry was not taken")
    page.goto("/log/waiting/")
    expect(page.locator("#waiting-list article")).to_contain_text("is not a number")
    assert not Run.objects.exists()
