"""How soon a page shows, answers a touch and stands still, on a slow phone in a slow network. Run by hand:

    .venv/bin/python -m tests.browser.vitals [--data DIR]

The mill has twenty presses and ten years of runs; it is built at the first call and kept in DIR. Each page is
opened once to let the site remember what it has worked out, then `TIMES` times by a phone that has never been
there, with 150 ms to and fro, 1.6 Mbit/s and a processor four times slower. Prints the median of each figure.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from playwright.sync_api import BrowserContext, Page

from tests.browser.demo_site import running
from tests.browser.program import chromium

DAY = date(2026, 7, 1)
"""Within the last season of the large mill."""

TIMES = 3
LATENCY_MS, BYTES_PER_SECOND, SLOWER = 150, 1_600_000 / 8, 4
PAGES = (
    "/",
    "/due/",
    "/log/run/?press=1",
    "/log/work/?press=1&action=lubricate",
    "/log/sheet/",
    "/presses/",
    "/presses/1/",
    "/parts/",
    "/parts/1/",
    "/compare/",
    "/log/",
)

OBSERVE = """
window.vitals = {lcp: 0, cls: 0, inp: 0};
new PerformanceObserver(list => { for (const one of list.getEntries()) vitals.lcp = one.startTime; })
  .observe({type: 'largest-contentful-paint', buffered: true});
new PerformanceObserver(list => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) vitals.cls += one.value;
}).observe({type: 'layout-shift', buffered: true});
new PerformanceObserver(list => { for (const one of list.getEntries())
    if (one.interactionId) vitals.inp = Math.max(vitals.inp, one.duration); })
  .observe({type: 'event', durationThreshold: 16, buffered: true});
"""


@dataclass(frozen=True)
class Vitals:
    """Largest contentful paint and the longest interaction in milliseconds, and the layout shift as a share.

    An interaction shorter than 16 ms is none to the browser and counts as 0."""

    lcp_ms: float
    inp_ms: float
    cls: float


def slow_down(page: Page) -> None:
    session = page.context.new_cdp_session(page)
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": LATENCY_MS,
            "downloadThroughput": BYTES_PER_SECOND,
            "uploadThroughput": BYTES_PER_SECOND,
        },
    )
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})


def vitals_of(context: BrowserContext, address: str, *, slow: bool) -> Vitals:
    """Opens the page, touches the index, a fold and a field, and reads what the browser noted."""
    page = context.new_page()
    page.add_init_script(OBSERVE)
    if slow:
        slow_down(page)
    answer = page.goto(address, wait_until="networkidle")
    if answer is None or not answer.ok:
        raise RuntimeError(f"{address} can't be opened.")
    index = page.locator(".tabs summary").last
    index.tap()
    index.tap()
    for touched in (page.locator("main summary:visible"), page.locator("main input[type=text]:visible")):
        if touched.count():
            touched.first.tap()
    page.keyboard.type("12")
    page.wait_for_function(
        "() => new Promise(done => requestAnimationFrame(() => setTimeout(() => done(true), 300)))"
    )
    found = page.evaluate("window.vitals")
    page.close()
    return Vitals(lcp_ms=found["lcp"], inp_ms=found["inp"], cls=found["cls"])


def median(of: list[Vitals]) -> Vitals:
    return Vitals(
        lcp_ms=statistics.median(one.lcp_ms for one in of),
        inp_ms=statistics.median(one.inp_ms for one in of),
        cls=max(one.cls for one in of),
    )


PHONE = {
    "viewport": {"width": 360, "height": 740},
    "is_mobile": True,
    "has_touch": True,
    "service_workers": "block",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, default=Path(tempfile.gettempdir()) / "wearlog-vitals")
    folder = parser.parse_args().data
    with running(folder, day=DAY, large=True) as site, chromium(whole=True) as browser:
        print("| page | LCP, ms | INP, ms | CLS |\n| --- | --- | --- | --- |")
        for address in PAGES:
            rounds = []
            for turn in range(TIMES + 1):
                context = site.signed_in(browser, **PHONE)
                context.set_default_timeout(120_000)
                rounds.append(vitals_of(context, address, slow=turn > 0))
                context.close()
            found = median(rounds[1:])
            print(f"| `{address}` | {found.lcp_ms:.0f} | {found.inp_ms:.0f} | {found.cls:.3f} |", flush=True)


if __name__ == "__main__":
    main()
