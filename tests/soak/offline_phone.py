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
from tests.requirements import browser_program
from tests.soak.offline_line import UP, Line

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
WAITING = """async () => (await entries()).map((one) => ({
  id: one.id, marks: one.fields.map(([, value]) => String(value)),
  state: one.answer ? one.answer.state : "waiting",
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


class Phone:
    def __init__(self, playwright: Playwright, name: str, line: Line, folder: Path) -> None:
        self.playwright, self.name, self.line, self.folder = playwright, name, line, folder
        self.counts: Counter[str] = Counter()
        self.context: BrowserContext
        self.page: Page
        self.start()

    def start(self) -> None:
        self.context = self.playwright.chromium.launch_persistent_context(
            self.folder,
            executable_path=browser_program(),
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
        self.settle(typed)
        return True

    def settle(self, typed: Typed) -> None:
        """Wait until the page says something; say yes to what it asks."""
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
                typed.fate = "shown on the page"
                typed.said = self.page.locator("[role=alert] li").all_inner_texts()
                return
            elif outcome:
                return
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
              const all = (await entries()).slice(0, 3);
              await Promise.allSettled(all.flatMap((one) => [send(one, true), send(one, true)]));
              return all.length;
            }"""
        )
        self.counts["sent twice at once"] += sent

    def send_copies(self) -> None:
        """What waits, twice at once, as two tabs would; and again after it has been answered."""
        twice = "async () => { %s; await Promise.all([...copies, ...copies].map((one) => send(one, true))); }"
        self.page.evaluate(twice % "globalThis.copies = await entries()")
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
        """With a network: go through the list of what waits until nothing does."""
        self.line.set(UP)
        ending = time.monotonic() + 120
        while True:
            assert time.monotonic() < ending, f"{self.name}: still unsent: {self.unsent()}"
            self.page.goto("/log/waiting/")
            if self.signed_out():
                self.sign_in()
                continue
            self.page.evaluate("() => flush().then(() => true)")
            waiting = self.unsent()
            if not waiting:
                return
            for one in waiting:
                self.decide(one, ledger)

    def decide(self, one: dict[str, Any], ledger: dict[str, Typed]) -> None:
        typed = next((ledger[mark] for mark in one["marks"] if mark in ledger), None)
        assert typed is not None, f"{self.name}: {one} is nobody's"
        if one["state"] == "waiting":
            return
        slip = self.page.locator("#waiting-list article").filter(has_text=typed.mark)
        if one["state"] == "asked":
            slip.get_by_role("button", name="Yes, it is right").click()
            self.page.evaluate("() => flush().then(() => true)")
            self.counts["questions answered"] += 1
            return
        shown = slip.inner_text()
        assert typed.mark in shown, shown
        assert one["said"], one
        assert one["said"][0] in shown, (one, shown)
        typed.fate, typed.said = one["state"], one["said"]
        slip.get_by_role("button", name="Throw away").click()
        slip.get_by_role("button", name="Really throw away").click()
        slip.wait_for(state="detached")
        self.page.evaluate("() => flush().then(() => true)")
