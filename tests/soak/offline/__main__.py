"""`python -m tests.soak.offline --entries 500 --seed 1`: two phones at the press, and a network that fails.

A real server, a real Chromium for each phone with its data on the disk, and a line between them that is cut
by lot: before a request, after the server has answered, in the middle of the answer. Pages are reloaded, tabs
closed, browsers started anew, sessions end, entries are sent twice at once. In the end the database is held
against what was typed. Ends with 0 where nothing was lost, doubled or overwritten silently, else with 1.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections import Counter
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
ROOT = Path(__file__).resolve().parents[3]
KINDS = {"run": 4, "meter run": 3, "reading": 2, "flip": 2, "work": 1, "note": 2}
SPOILT = {"run": 0.15, "meter run": 0.15, "reading": 0.1}
"""How often something is missing in one: the weight of a bag, or the figure of a meter holds a letter."""
SPOILT_ENDS = {"mend": 5, "throw": 3, "leave": 1}
MODES = {"up": 5, "down": 4, "mute": 2, "torn": 1}
STAYS = (1, 5)
"""For how many entries a line stays as it is."""
CLEARED_EVERY = 60
LAST = 4
"""Entries of the day's end, where nothing is left to luck."""
BETWEEN_RUNS = timedelta(minutes=40)


def main() -> int:
    arguments = argparse.ArgumentParser(prog="python -m tests.soak.offline")
    arguments.add_argument("--entries", type=int, default=500)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--minutes", type=float, default=600, help="after these the day ends early")
    arguments.add_argument("--break", dest="how", default="", help="the server, broken on purpose")
    asked = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="wearlog-offline-") as folder:
        os.environ |= {
            "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
            "DATA_DIR": folder,
            "DATABASE_URL": f"sqlite:///{Path(folder) / 'wearlog.sqlite3'}",
            "EMAIL_URL": "dummymail://",
            "REDIS_URL": "",
        }
        import django

        django.setup()
        return soak(Path(folder), asked)


def soak(folder: Path, asked: argparse.Namespace) -> int:
    from playwright.sync_api import sync_playwright

    from tests.services.servers import free_port
    from tests.soak.offline.verdict import verdict

    shop = mill()
    port, begun = free_port(), time.monotonic()
    server = subprocess.Popen(
        [sys.executable, "-m", "tests.soak.offline.server", str(port), *([asked.how] if asked.how else [])],
        cwd=ROOT,
    )
    try:
        wait_for(f"http://127.0.0.1:{port}/sign-in/")
        with sync_playwright() as playwright:
            day = Day(playwright, shop, port, folder, asked)
            day.live()
            day.end()
    finally:
        server.terminate()
        server.wait(30)
    jammed = [one for phone in day.phones for one in phone.jammed]
    wrong, told = verdict(list(day.ledger.values()), jammed)
    counts = day.counts()
    print(f"seed {asked.seed}: {len(day.ledger)} entries by two phones in {time.monotonic() - begun:.0f} s\n")
    for what, number in [*told.items(), *sorted(counts.items())]:
        print(f"| {what} | {number} |")
    for line in wrong[:10]:
        print(f"\n{line}")
    if wrong:
        print(
            f"\n{len(wrong)} wrong. Again: "
            f"python -m tests.soak.offline --entries {asked.entries} --seed {asked.seed}"
        )
    return 1 if wrong else 0


def mill() -> Any:
    """A single press with a meter for readings, a twin press that both share, two operators."""
    from django.utils import timezone

    from tests.migrated import migrate
    from tests.mills.log_shop import Shop
    from tests.soak.offline.phone import PASSWORD
    from wearlog.people.models import Mill, Role, User

    migrate()
    Mill.objects.create(name="Valley mill", time_zone="Europe/Vienna", units="metric")
    shop = Shop()
    shop.reading(shop.north, "100", timezone.now())
    for name in ("ines", "otto"):
        User.objects.create_user(name, PASSWORD, name=name.title(), role=Role.OPERATOR)
    return shop


def wait_for(address: str) -> None:
    ending = time.monotonic() + 60
    while True:
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except OSError:
            if time.monotonic() > ending:
                raise
            time.sleep(0.1)


class Day:
    """What the two do, drawn by lot."""

    def __init__(
        self, playwright: Any, shop: Any, port: int, folder: Path, asked: argparse.Namespace
    ) -> None:
        from tests.soak.offline.line import Line
        from tests.soak.offline.phone import Phone, Typed
        from wearlog.equipment.models import Press

        self.dice, self.shop = random.Random(asked.seed), shop
        self.entries, self.minutes = asked.entries, asked.minutes
        self.ledger: dict[str, Typed] = {}
        self.sessions_ended, self.clock = 0, datetime.now(UTC) - BETWEEN_RUNS * (asked.entries + 100)
        self.phones = []
        for name in ("ines", "otto"):
            phone = Phone(playwright, name, Line(port), folder / name)
            phone.sign_in()
            self.phones.append(phone)
        self.stays = [0, 0]
        self.meter = 100
        self.pressed = dict.fromkeys(("ines", "otto"), Decimal(100))
        self.presses = {}
        for name in self.pressed:
            press = Press.objects.create(code=f"M-{name}")
            self.presses[name] = press.pk
            shop.reading(press, "100", self.clock - timedelta(hours=3))
        for phone in self.phones:  # each page is seen once with a network
            for kind in KINDS:
                phone.go(self.form(kind, "", phone.name)[0])

    def form(self, kind: str, mark: str, who: str, spoilt: str = "") -> tuple[str, dict[str, str]]:
        """The page on which such an entry is typed, and what is typed."""
        north, twin, left = self.shop.north.pk, self.shop.twin.pk, self.shop.left.pk
        if kind in ("run", "meter run"):
            self.clock += BETWEEN_RUNS  # a press can't press twice at once
            values = {"crop": str(self.shop.rape.pk), "seed": "25", "seed_unit": "kg", "lot": mark}
            values["ended_at"] = f"{self.clock:%Y-%m-%dT%H:%M}"
            if spoilt:
                values |= {"seed": "1.25", "seed_unit": "bag", "bag": ""}
            if kind == "run":
                return f"/log/run/?press={twin}", values | {"hours_h": "0.5"}
            self.pressed[who] += Decimal("0.5")
            return f"/log/run/?press={self.presses[who]}", values | {"meter_h": str(self.pressed[who])}
        if kind == "reading":
            return f"/log/reading/?press={north}", {"meter_h": mark + ("x" if spoilt else "")}
        if kind == "note":
            return "/log/note/", {"text": mark}
        if kind == "flip":
            return f"/log/work/?press={twin}&position={left}&action=flip", {"finding": mark}
        return f"/log/work/?press={twin}&action=clean", {"finding": mark}

    def live(self) -> None:
        from tests.soak.offline.phone import Typed

        kinds, weights = list(KINDS), list(KINDS.values())
        number = 0
        ending = time.monotonic() + self.minutes * 60
        while number < self.entries - LAST and time.monotonic() < ending:
            at = self.dice.randrange(2)
            phone = self.phones[at]
            if self.stays[at] <= 0:
                phone.line.set(self.dice.choices(list(MODES), list(MODES.values()))[0])
                self.stays[at] = self.dice.randint(*STAYS)
            self.stays[at] -= 1
            self.mishap(phone)
            kind = self.dice.choices(kinds, weights)[0]
            mark = f"{kind}-{number:04}."
            if kind == "reading":
                self.meter += 1
                mark = str(self.meter)
                time.sleep(1.1)  # a meter is read once in a second
            typed = Typed(mark, kind, phone.name, spoilt=self.spoil(kind))
            if phone.type(typed, *self.form(kind, mark, phone.name, typed.spoilt)):
                self.ledger[mark] = typed
                self.look_at_refusal(phone, typed)
                number += 1
                if number % CLEARED_EVERY == 0:
                    self.clear()
            elif phone.signed_out():
                phone.sign_in()
            else:
                phone.line.set("up")

    def spoil(self, kind: str) -> str:
        if self.dice.random() >= SPOILT.get(kind, 0):
            return ""
        return self.dice.choices(list(SPOILT_ENDS), list(SPOILT_ENDS.values()))[0]

    def look_at_refusal(self, phone: Any, typed: Any) -> None:
        """Where the page shows one, half of those who will mend it do so at once; all others walk away."""
        from tests.soak.offline.phone import OUTCOME

        if typed.spoilt and phone.page.evaluate(OUTCOME) == "refused":
            phone.counts["refusals seen on the page"] += 1
            if typed.spoilt == "mend" and self.dice.random() < 0.5:
                typed.said = ["on the page"]
                phone.mend(typed)
            else:
                phone.counts["refusals walked away from"] += 1

    def mishap(self, phone: Any) -> None:
        from wearlog.people.models import Session

        drawn = self.dice.random()
        if drawn < 0.08:
            phone.counts["pages loaded again"] += int(phone.go("/log/waiting/"))
        elif drawn < 0.16:
            phone.new_tab()
        elif drawn < 0.18:
            phone.restart()
        elif drawn < 0.26:
            phone.send_twice()
        elif drawn < 0.32:
            phone.two_tabs()
        elif drawn < 0.34:
            Session.objects.all().delete()
            self.sessions_ended += 1

    def clear(self) -> None:
        for phone in self.dice.sample(self.phones, 2):
            phone.clear(self.ledger)
        self.stays = [0, 0]

    def end(self) -> None:
        """Both turn the same die without a network, and a note is sent twice at once, and once more later."""
        from tests.soak.offline.phone import Typed

        self.clear()
        for kind in ("flip", "note"):
            for phone in self.phones:
                phone.line.set("up")
                phone.go(self.form(kind, "", phone.name)[0])
            for phone in self.phones:
                phone.line.set("down")
                mark = f"{kind}-of-{phone.name}."
                self.ledger[mark] = typed = Typed(mark, kind, phone.name)
                assert phone.type(typed, *self.form(kind, mark, phone.name)), mark
                if kind == "note":
                    phone.line.set("up")
                    phone.send_copies()
        self.clear()
        for phone in self.phones:
            phone.context.close()
            phone.line.close()

    def counts(self) -> Counter[str]:
        found = Counter[str]({"sessions ended": self.sessions_ended})
        for phone in self.phones:
            found += phone.counts
            found += Counter({f"cuts {where}": n for where, n in phone.line.cuts.items()})
        return found


if __name__ == "__main__":
    sys.exit(main())
