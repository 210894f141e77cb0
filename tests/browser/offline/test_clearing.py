"""What was asked for before somebody was signed out is not kept after it, whatever was under way then."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext, Page, Worker, expect

from tests.browser.offline.kept import (
    NOTHING_KEPT,
    by_password,
    end_from_afar,
    kept_anywhere,
    see,
    sign_out,
    until,
)
from wearlog.people.models import User
from wearlog.web.offline.views import worker

HOLD = """([kind, name]) => {
  self.work = [];
  self.held = new Promise((resolve) => { self.letGo = resolve; });
  self.reached = new Promise((resolve) => {
    const own = self[kind].prototype[name];
    self[kind].prototype[name] = async function (...given) {
      self[kind].prototype[name] = own;
      const found = await own.apply(this, given);
      resolve();
      await self.held;
      return found;
    };
  });
  const wait = ExtendableEvent.prototype.waitUntil;
  ExtendableEvent.prototype.waitUntil = function (work) {
    self.work.push(work);
    return wait.call(this, work);
  };
}"""


def hold(pocket: BrowserContext, kind: str, name: str) -> Worker:
    """The phone's service worker, whose next call of that method gives back its result when it is let go."""
    [found] = pocket.service_workers
    found.evaluate(HOLD, [kind, name])
    return found


def let_go(worker: Worker) -> None:
    """Until all that the worker has begun by then is done."""
    worker.evaluate(
        """async () => {
          self.letGo();
          let done = 0;
          while (done < self.work.length) {
            done = self.work.length;
            await Promise.allSettled(self.work);
          }
        }"""
    )


def open_meanwhile(page: Page, address: str) -> None:
    page.evaluate("address => { setTimeout(() => { location.href = address; }); }", address)


def test_a_page_that_was_asked_for_before_she_signed_out_is_not_kept_when_she_is_back(
    pocket: BrowserContext, ines: User
) -> None:
    page = pocket.new_page()
    by_password(page, "ines")
    see(page, "/")
    other = pocket.new_page()
    other.goto("/log/waiting/")
    worker = hold(pocket, "Response", "text")
    open_meanwhile(other, "/log/note/")
    worker.evaluate("() => self.reached")
    sign_out(page)
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    by_password(page, "ines")
    see(page, "/")
    let_go(worker)
    assert kept_anywhere(page) == ["/", "/log/waiting/"]


def test_a_look_at_what_is_kept_puts_up_nothing_that_was_cleared_away_meanwhile(
    pocket: BrowserContext, page: Page
) -> None:
    see(page, "/")
    other = pocket.new_page()
    other.goto("/log/waiting/")
    worker = hold(pocket, "CacheStorage", "has")
    open_meanwhile(other, "/log/note/")
    worker.evaluate("() => self.reached")
    page.evaluate("() => forgetKept()")
    until(page, NOTHING_KEPT)
    let_go(worker)
    expect(other.get_by_role("heading", name="Leave a note")).to_be_visible()
    until(page, NOTHING_KEPT)


SLOW_TO_KEEP = """
{
  const text = Response.prototype.text;
  Response.prototype.text = async function () {
    if (this.url.endsWith("/log/note/")) {
      await caches.open("reached");
      while (!(await caches.has("let go"))) await new Promise((resolve) => setTimeout(resolve, 20));
    }
    return text.call(this);
  };
}
"""
"""Before the worker's own program: that page's text is read when the test lets it go."""


def test_a_new_version_that_renews_what_is_kept_keeps_nothing_that_was_cleared_away_meanwhile(
    pocket: BrowserContext, page: Page, ines: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until the new version takes over, the one before hears that somebody was signed out."""
    see(page, "/")
    see(page, "/log/note/")
    program = worker.program()
    monkeypatch.setattr(worker, "program", lambda: SLOW_TO_KEEP + program)
    page.goto("/")
    until(page, "() => caches.has('reached')")
    end_from_afar(ines)
    page.goto("/")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    until(page, NOTHING_KEPT)
    pocket.set_offline(True)  # else the new version's next question would tell it too
    page.evaluate("() => caches.open('let go').then(() => true)")
    until(
        page,
        """async () => {
          const { installing, waiting, active } = await navigator.serviceWorker.getRegistration();
          return !installing && !waiting && active.state === "activated";
        }""",
    )
    assert kept_anywhere(page) == []
