"""A person with a phone at the press: opens pages, types, and lives with what the network does."""

from __future__ import annotations

import contextlib
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright
from playwright.sync_api import Error as BrowserError

from tests.browser.program import FLAGS
from tests.requirements import headless_program
from tests.soak.offline.line import UP, Line

PASSWORD = "cold-pressed-seed-9"

FILL = """(values) => {
  const form = document.querySelector("form[data-queue]");
  if (!form) return null;
  for (const [name, value] of Object.entries(values)) {
    const fields = [...form.querySelectorAll(`[name="${name}"]`)];
    const choice = fields.find((one) => one.type === "radio");
    if (choice) { fields.find((one) => value ? one.value === value : true).checked = true; }
    else if (fields.length) fields[0].value = value;
  }
  const fitting = form.querySelector("[name=fitting]");
  return { fitting: fitting ? fitting.value : "", kept: "keptAt" in document.body.dataset };
}"""
PRESS = """() => { document.querySelector("form[data-queue] button.main").click(); }"""
YES = "() => { for (const one of document.querySelectorAll('[name=confirm]')) one.checked = true; }"
OUTCOME = """() => {
  const note = document.getElementById("kept");
  if (note && !note.hidden) return "kept";
  if (document.querySelector("#doubts")) return "asked";
  if (document.querySelector("[role=alert]:not([hidden])")) return "refused";
  return document.querySelector("form[data-queue]") ? "" : "gone on";
}"""
GONE_ON = "() => !globalThis.asBefore || !document.getElementById('kept').hidden"
DECIDED = ("refused", "moved", "asked", "gone")
MENDS = {"bag": "20"}
"""What the person had forgotten; a reading is typed anew."""
WAITING = """async () => (await entries()).map((one) => ({
  id: one.id, marks: one.fields.map(([, value]) => String(value)),
  state: isDecided(one) ? one.answer.state : "waiting",
  said: ((one.answer && one.answer.problems) || []).map(([, text]) => text),
}))"""


@dataclass
class Typed:
    """One entry as the person typed it."""

    mark: str
    kind: str
    who: str
    fitting: str = ""
    began: float = 0.0
    ended: float = 0.0
    fate: str = ""
    """What the person saw of it where it was not simply taken: thrown away after it was shown."""
    said: list[str] = field(default_factory=list)
    spoilt: str = ""
    """Where something is missing in it: whether its person mends it, throws it away or leaves it for ever."""

    def builds_on(self, earlier: Typed) -> bool:
        """A second reckoning of what must wait for what: turns of one die, and runs by one hour meter."""
        same = (self.who, self.kind) == (earlier.who, earlier.kind)
        return same and self.kind in ("flip", "meter run") and earlier.began < self.began


class Phone:
    def __init__(self, playwright: Playwright, name: str, line: Line, folder: Path) -> None:
        self.playwright, self.name, self.line, self.folder = playwright, name, line, folder
        self.counts: Counter[str] = Counter()
        self.jammed: list[str] = []
        self.context: BrowserContext
        self.page: Page
        self.start()

    def start(self) -> None:
        self.context = self.playwright.chromium.launch_persistent_context(
            self.folder,
            executable_path=headless_program(),
            args=FLAGS,
            base_url=f"http://127.0.0.1:{self.line.port}",
            viewport={"width": 360, "height": 740},
        )
        self.context.set_default_timeout(30_000)
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()

    def restart(self) -> None:
        self.context.close()
        self.start()
        self.counts["browsers restarted"] += 1

    def new_tab(self) -> None:
        old, self.page = self.page, self.context.new_page()
        old.close()
        self.counts["tabs closed"] += 1

    def go(self, address: str) -> bool:
        """Whether any page came, from the network or the device's memory."""
        try:
            self.page.goto(address, wait_until="load")
        except BrowserError:
            self.counts["pages that did not open"] += 1
            return False
        return True

    def sign_in(self) -> None:
        self.line.set(UP)
        self.page.goto("/sign-in/")
        if self.page.locator("#username").count():
            self.page.fill("#username", self.name)
            self.page.fill("#password", PASSWORD)
            self.page.click("form button")
            self.page.locator("nav.tabs").wait_for()
            self.counts["sign-ins"] += 1

    def signed_out(self) -> bool:
        return "/sign-in/" in self.page.url

    def type(self, typed: Typed, address: str, values: dict[str, str]) -> bool:
        """Type one entry and press the button; whether it was typed at all."""
        if not self.go(address):
            return False
        seen = self.page.evaluate(FILL, values)
        if seen is None:
            return False
        typed.fitting = seen["fitting"]
        self.counts["typed on a kept page"] += int(seen["kept"])
        typed.began = time.time()
        self.page.evaluate(PRESS)
        outcome = self.settle(typed)
        if outcome == "kept" and self.line.mode == UP and self.still_waits(typed):
            self.jammed.append(f"typed with a network, and kept: {typed}")
        return True

    def still_waits(self, typed: Typed) -> bool:
        """Whether it lies on the device after one replay more, and nobody has to decide about it."""
        found = [
            one
            for one in self.sent_by_now()
            if f"{typed.mark}" in (each.removesuffix("x") for each in one["marks"])
        ]
        return any(one["state"] not in DECIDED for one in found)

    def sent_by_now(self) -> list[dict[str, Any]]:
        """What is left after one replay; nothing where nobody is signed in, when nothing can be sent."""
        self.page.evaluate("() => flush().then(() => true)")
        signed_in: bool = self.page.evaluate("() => !trouble || trouble.state !== 'signed_out'")
        return self.unsent() if signed_in else []

    def settle(self, typed: Typed) -> str:
        """Wait until the page says something; say yes to what it asks. What came of it."""
        ending = time.monotonic() + 40
        while time.monotonic() < ending:
            try:
                outcome = self.page.evaluate(OUTCOME)
            except BrowserError:  # on the way to the next page
                outcome = ""
            typed.ended = typed.ended or time.time()
            if outcome == "asked":
                with contextlib.suppress(BrowserError):  # it is going on already
                    self.page.evaluate(YES)
                    self.page.evaluate(PRESS)
                    self.counts["questions answered"] += 1
                time.sleep(0.1)
            elif outcome == "refused":
                if not typed.spoilt:
                    typed.fate = "shown on the page"
                    typed.said = self.page.locator("[role=alert] li").all_inner_texts()
                return str(outcome)
            elif outcome:
                return str(outcome)
            time.sleep(0.02)
        raise AssertionError(f"{self.name}: nothing came of {typed.mark}")

    def unsent(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.page.evaluate(WAITING)
        return found

    def send_twice(self) -> None:
        """The same request twice at once, and then by the phone itself as a third."""
        if not self.go("/log/waiting/") or not self.page.evaluate("() => typeof entries === 'function'"):
            return  # the sign-in page, or the one that says that nothing is kept
        sent = self.page.evaluate(
            """async () => {
              const left = await entries();
              const all = left.filter((one) => !waitsFor(one, left).length).slice(0, 3);
              await Promise.allSettled(all.flatMap((one) => [send(one, true), send(one, true)]));
              return all.length;
            }"""
        )
        self.counts["sent twice at once"] += sent

    def send_copies(self) -> None:
        """What waits, twice at once, as two tabs would; and again after it has been answered."""
        twice = "async () => { %s; await Promise.all([...copies, ...copies].map((one) => send(one, true))); }"
        free = "left.filter((one) => !waitsFor(one, left).length)"
        self.page.evaluate(twice % f"const left = await entries(); globalThis.copies = {free}")
        self.page.evaluate(twice % "await flush()")
        self.counts["sent again after the answer"] += 1

    def two_tabs(self) -> None:
        """Both tabs begin to send at the same moment."""
        other = self.context.new_page()
        try:
            for tab in (self.page, other):
                tab.goto("/log/waiting/")
            for tab in (self.page, other):
                tab.evaluate("() => { flush(); }")
            self.page.evaluate("() => flush().then(() => true)")
            self.counts["two tabs at once"] += 1
        except BrowserError:
            self.counts["pages that did not open"] += 1
        finally:
            other.close()

    def clear(self, ledger: dict[str, Typed]) -> None:
        """With a network: go through the list of what waits until nothing does but what is left for ever."""
        self.line.set(UP)
        ending = time.monotonic() + 180
        while True:
            assert time.monotonic() < ending, f"{self.name}: still unsent: {self.unsent()}"
            self.page.goto("/log/waiting/")
            if self.signed_out():
                self.sign_in()
                continue
            waiting = self.what_waits(ledger)
            patience = time.monotonic() + 10
            while (stuck := self.stuck(waiting)) and time.monotonic() < patience:
                time.sleep(0.5)  # a server that is busy says so, and the phone asks again
                waiting = self.what_waits(ledger)
            self.jammed += stuck
            if all(typed.fate in ("left open", "waits behind it") for _one, typed in waiting):
                return
            for one, typed in waiting:
                self.decide(one, typed)
                if not self.page.url.endswith("/log/waiting/"):
                    break  # it was mended, on its own page

    def what_waits(self, ledger: dict[str, Typed]) -> list[tuple[dict[str, Any], Typed]]:
        """What is left after a replay."""
        return [(one, typed_as(one, ledger)) for one in self.sent_by_now()]

    def stuck(self, waiting: list[tuple[dict[str, Any], Typed]]) -> list[str]:
        """What waits with a network, and not for something that its person has to decide about."""
        found = []
        for one, typed in waiting:
            typed.fate = ""
            if one["state"] in DECIDED:
                typed.fate = "left open" if typed.spoilt == "leave" else ""
                continue
            before = [earlier for _one, earlier in waiting if typed.builds_on(earlier)]
            if not before:
                trouble = self.page.evaluate("() => JSON.stringify(trouble)")
                found.append(f"could be sent, and was not ({trouble}): {typed} among {waiting}")
            elif any(earlier.fate for earlier in before):
                typed.fate = "waits behind it"
        return found

    def decide(self, one: dict[str, Any], typed: Typed) -> None:
        if one["state"] not in DECIDED or typed.fate:
            return
        slip = self.page.locator(f'#waiting-list [data-entry="{one["id"]}"]')
        if one["state"] == "asked":
            slip.get_by_role("button", name="Yes, it is right").click()
            self.page.evaluate("() => flush().then(() => true)")
            self.counts["questions answered"] += 1
            return
        shown = slip.inner_text()
        assert typed.mark in shown, shown
        assert one["said"], one
        assert one["said"][0] in shown, (one, shown)
        if typed.spoilt == "mend" and not typed.said:
            typed.said = one["said"]
            slip.get_by_role("link", name="Mend it on its page").click()
            self.page.locator("form[data-queue][data-mends]").wait_for()
            self.mend(typed)
            return
        typed.fate, typed.said = one["state"], one["said"]
        slip.get_by_role("button", name="Throw away", exact=True).click()
        slip.get_by_role("button", name="Really throw away").click()
        slip.wait_for(state="detached")
        self.page.evaluate("() => flush().then(() => true)")

    def mend(self, typed: Typed) -> None:
        """On the page that shows what is wrong: put it right and save it."""
        self.page.evaluate(FILL, {"meter_h": typed.mark} if typed.kind == "reading" else MENDS)
        self.page.evaluate("() => { globalThis.asBefore = true; }")
        self.page.evaluate(PRESS)
        self.page.wait_for_function(
            GONE_ON, timeout=40_000
        )  # what stood there of the refusal goes with the page
        self.settle(typed)
        self.counts["refusals mended"] += 1


def typed_as(one: dict[str, Any], ledger: dict[str, Typed]) -> Typed:
    marks = [mark.removesuffix("x") for mark in one["marks"]]
    typed = next((ledger[mark] for mark in marks if mark in ledger), None)
    assert typed is not None, f"{one} is nobody's"
    return typed
