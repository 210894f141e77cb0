"""Every page that an owner can open, walked in a real browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.urls import URLResolver, get_resolver
from django.utils import timezone
from playwright.sync_api import ConsoleMessage, Page

from tests.browser.narrow import narrow_page, open_folds, sideways
from tests.browser.test_pages_look import MakeContext, findings
from tests.mills.look_mill import LookMill
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.models import Lock
from wearlog.logbook.models import ImportJob
from wearlog.people.models import Mill, User
from wearlog.reminders.channels.mail.links import SINGLE, job_url, stop_url
from wearlog.runs.models import PlanEntry, Price
from wearlog.web.site.codes import Code

NOT_PAGES = {
    "import-problems",
    "sign-out", "sign-in", "sign-in-link", "export", "person-link", "job-card-pdf",
    "labels-pdf", "calendar-feed", "health", "waiting-token", "photo", "photo-small", "worker", "manifest",
}  # fmt: skip
BUTTONS = {
    "calendar-end", "mail-address-clear", "webhook-test", "webhook-renew", "lock-confirm", "lock-told",
    "person-devices", "in-use", "import-cancel",
}  # fmt: skip
ASKS = {
    "due-mark": "item={rule}.{press}.{screw_place}.{screw}.-",
    "job-card": "item={rule}.{press}.{screw_place}.{screw}.-",
    "labels": "what=presses&what=places&what=fitted&what=shelf&size=large",
    "run-new": "press={press}",
    "work-new": "press={press}&fitting={fitting}&action=polish",
    "incident-new": "press={press}",
    "crop-change-new": "press={press}",
    "reading-new": "press={press}",
    "measurement-new": "part={die}",
    "fitting-new": "position={empty}",
    "fitting-end": "fitting={fitting}",
    "fitting-swap": "fitting={fitting}",
    "energy-start": "build=twin",
    "wording": "press={press}",
}


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def whole_mill() -> LookMill:
    """A mill in which every page has something to show."""
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    owner = User.objects.create_user("owner", name="Olga", role="owner")
    shop = LookMill(timezone.now())
    shop.running()
    shop.hold()
    shop.polish(by=owner)
    shop.reading()
    shop.isolate(by=owner)
    today = timezone.localdate()
    PlanEntry.objects.create(press=shop.north, crop=shop.rape, start_on=today, end_on=today, seed_kg=500)
    Price.objects.create(item="oil_kg", from_on=today, price=2)
    an_import(owner)
    return shop


def an_import(owner: User) -> ImportJob:
    """One that is being checked and, which none would be at once, has been found wrong."""
    groups = [{"file": "runs.csv", "column": "seed_kg", "count": 812, "first": ["runs.csv, line 2: much."]}]
    return ImportJob.objects.create(
        file="none", name="old years.zip", only_check=True, by=owner, language="en", asked_at=timezone.now(),
        state="checking", doing="reading runs.csv", done_rows=2_000, total_rows=9_000, said="Wait.",
        groups=groups * 13, problems=812 * 13,
        counts={"new": 1, "filled": 2, "replaced": 3, "kept": 4, "same": 5},
    )  # fmt: skip


def token_of(link: str) -> str:
    return link.rstrip("/").rpartition("/")[2]


def addresses(shop: LookMill) -> Iterator[str]:
    """Every address, with the keys of records that are there, and asked for what its form needs to know."""
    keys = {
        "press": shop.north.pk, "rule": shop.look_rule.pk, "screw_place": shop.screw_place.pk,
        "screw": shop.screw.pk, "fitting": shop.die_fitting.pk, "die": shop.die.pk,
        "empty": shop.gearbox_place.pk,
    }  # fmt: skip
    own = {
        "run-stop": shop.twin.runs.get(ref="open").pk,
        "lot-release": shop.north.incidents.get().hold.pk,
        "part": shop.die.pk, "part-edit": shop.die.pk, "position-edit": shop.die_place.pk,
        "energy-edit": shop.north.energy_sources.earliest("pk").pk, "part-type-edit": shop.small.pk,
        "crop-edit": shop.rape.pk, "rule-edit": shop.flip_rule.pk, "plan-edit": PlanEntry.objects.get().pk,
        "price-edit": Price.objects.get().pk, "person-edit": User.objects.get().pk,
        "record": shop.screw.services.get().pk, "correct": shop.screw.services.get().pk,
        "void": shop.screw.services.get().pk, "photo-add": shop.screw.services.get().pk,
        "import-job": ImportJob.objects.get().pk,
        "lock-for-another": Lock.objects.get(holder=None).pk,
        "lock-verify": Lock.objects.earliest("pk").pk, "lock-correct": Lock.objects.earliest("pk").pk,
    }  # fmt: skip
    owner, today = User.objects.get(), timezone.localdate()
    tokens = {
        "mail-job": token_of(job_url(due_items(as_of=today)[0], owner, made_on=today)),
        "mail-stop": token_of(stop_url(owner, SINGLE)),
    }
    for entry in get_resolver("wearlog.web.urls").url_patterns:
        assert not isinstance(entry, URLResolver)
        name = str(entry.name)
        if name in NOT_PAGES | BUTTONS:
            continue
        path = "/" + str(entry.pattern)
        path = path.replace("<int:pk>", str(own.get(name, shop.north.pk)))
        path = path.replace("<str:token>", tokens.get(name, ""))
        path = (
            path.replace("<int:press>", str(shop.north.pk))
            .replace("<str:kind>", "work")
            .replace("<slug:hazard>", "trapped-pressure")
            .replace("<str:code>", str(Code("part", shop.die.pk)))
            .replace("<str:key>", f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A")
        )
        yield path + ("?" + ASKS[name].format(**keys) if name in ASKS else "")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page_and_nothing_is_sideways(
    scheme: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = narrow_page(context_of, scheme)
    sign_in(page, User.objects.get())
    wrong: list[str] = []
    for address in addresses(shop):
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, address
        open_folds(page)
        wrong += [f"{address}: {finding}" for finding in findings(page)]
        wrong += [f"{address}: {what}" for what in sideways(page)]
        if page.evaluate(
            "[...document.querySelectorAll('form .frame')].some(it => it.scrollWidth > it.clientWidth)"
        ):
            wrong.append(f"{address}: the grid goes sideways within its frame with text at 200 %")
    assert not wrong, "\n".join(wrong)


def test_no_page_breaks_its_content_policy(
    page: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    complaints: list[str] = []

    def note(message: ConsoleMessage) -> None:
        # The harness keeps workers out where a test is not about them, and says so on the console.
        if message.type in ("error", "warning") and "blocked by Playwright" not in message.text:
            complaints.append(f"{page.url}: {message.text}")

    page.on("console", note)
    page.on("pageerror", lambda error: complaints.append(f"{page.url}: {error}"))
    sign_in(page, User.objects.get())
    for address in addresses(shop):
        page.goto(address)
    assert complaints == []
