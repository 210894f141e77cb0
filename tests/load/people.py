"""What people do at the mill, for Locust: two of three read, the third logs. Started by `__main__`.

Every act opens its page first, as a browser does, and follows where it is led; questions of the site are
answered with yes. What was accepted is written to a file, to be looked for in the log afterwards.
"""

from __future__ import annotations

import json
import os
import random
import re
import threading
from pathlib import Path
from uuid import uuid4

from locust import HttpUser, constant_pacing, task

PLAN = json.loads(Path(os.environ["WEARLOG_LOAD_PLAN"]).read_text())
"""session cookies, keys of presses, parts and dies, the crop, the pause between two acts in seconds."""
TAKEN = Path(os.environ["WEARLOG_LOAD_TAKEN"])
TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
QUESTION = re.compile(r'name="confirm"\s+value="([^"]+)"')

_cookies = iter(PLAN["sessions"])
_writing = threading.Lock()


class Person(HttpUser):
    abstract = True
    wait_time = constant_pacing(PLAN["between"])

    def on_start(self) -> None:
        self.client.cookies.set(PLAN["cookie"], next(_cookies))
        self.client.headers["Accept-Language"] = "en"
        self.chance = random.Random(str(id(self)))

    @property
    def press(self) -> int:
        return self.chance.choice(PLAN["presses"])


class Reader(Person):
    weight = 2

    @task(5)
    def day(self) -> None:
        self.client.get("/", name="day")

    @task(4)
    def one_press(self) -> None:
        self.client.get(f"/presses/{self.press}/", name="press")

    @task(2)
    def presses(self) -> None:
        self.client.get("/presses/", name="presses")

    @task(2)
    def due(self) -> None:
        self.client.get("/due/", name="due")

    @task(2)
    def log(self) -> None:
        self.client.get("/log/", name="log")

    @task(1)
    def part(self) -> None:
        self.client.get(f"/parts/{self.chance.choice(PLAN['parts'])}/", name="part")

    @task(1)
    def compare(self) -> None:
        self.client.get("/compare/", name="compare")

    @task(1)
    def pays(self) -> None:
        self.client.get("/worth/pays/", name="what pays")

    @task(2)
    def trivial(self) -> None:
        self.client.get("/beside/trivial", name="beside: trivial view")

    @task(2)
    def table(self) -> None:
        self.client.get("/beside/table", name="beside: table page")


class Logger(Person):
    weight = 1

    @task(7)
    def log_run(self) -> None:
        press = self.press
        seconds = self.chance.randint(20, 60)
        self.enter(
            "run",
            f"/log/run/?press={press}",
            {
                "press": press,
                "crop": PLAN["crop"],
                "seed": f"{seconds * 0.0075:.2f}",
                "seed_unit": "kg",
                "hours_h": f"{seconds / 3600:.4f}",
            },
        )

    @task(2)
    def log_work(self) -> None:
        press = self.press
        self.enter("work", f"/log/work/?press={press}", {"press": press, "action": "lubricate"})

    def enter(self, name: str, address: str, fields: dict[str, object]) -> None:
        page = self.client.get(address, name=f"{name}: form")
        token = TOKEN.search(page.text)
        if token is None:
            return
        ref = str(uuid4())
        sent = {"csrfmiddlewaretoken": token[1], "ref": ref, **fields}
        for _ in range(3):
            with self.client.post(
                address, sent, name=f"{name}: save", allow_redirects=False, catch_response=True
            ) as answer:
                if answer.status_code == 302:
                    answer.success()
                    self.note(ref)
                    then = self.client.get(
                        answer.headers["Location"],
                        name=f"{name}: what became due by it",
                        allow_redirects=False,
                    )
                    self.client.get(then.headers["Location"], name=f"{name}: the page after it")
                    return
                questions = QUESTION.findall(answer.text)
                if not questions:
                    answer.failure(f"not taken: {answer.status_code} {error_of(answer.text)}")
                    return
                answer.success()
                sent["confirm"] = questions

    def note(self, ref: str) -> None:
        with _writing, TAKEN.open("a") as file:
            file.write(f"{ref}\n")


def error_of(page: str) -> str:
    found = re.search(r'class="error"[^>]*>([^<]+)<', page)
    return found[1].strip() if found else re.sub(r"<[^>]+>|\s+", " ", page)[-300:]
