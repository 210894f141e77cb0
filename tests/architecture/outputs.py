"""Every output that can show a task, and what it shows of one."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl, urldefrag, urljoin, urlsplit

from django.apps import apps
from django.db import models
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, resolve, reverse
from django.utils import timezone
from django.utils.translation import get_language

from wearlog.equipment.models import Fitting, Position
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.cautions.caution import Caution
from wearlog.people.models import Mill, Session, User
from wearlog.reminders.channels.mail.links import SINGLE, job_url, stop_url
from wearlog.web.site.codes import Code
from wearlog.web.site.tags.due import card_key
from wearlog.words.actions import work_word
from wearlog.words.tasks import STATE_WORDS, task_line
from wearlog.words.tasks import heading as task_heading

SAMPLES = 3
"""Pages of one address that differ only in their query are opened this often ..."""

NUMBERED = 16
"""... and those that differ in a number of their path this often: all parts of the mill."""


class Words(HTMLParser):
    """The text of a page as a reader meets it, and where its links lead. `frames` has the words of each frame
    of a press, `words` all others."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self.links: list[str] = []
        self.frames: list[list[str]] = []
        self.silent = 0
        self.divs = 0
        self.frame_since: int | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in ("script", "style", "title")
        self.divs += tag == "div"
        if tag == "div" and ("class", "press-frame") in attrs:
            self.frames.append([])
            self.frame_since = self.divs
        if tag == "a":
            self.links += [value for name, value in attrs if name == "href" and value]

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("script", "style", "title")
        if tag == "div":
            if self.divs == self.frame_since:
                self.frame_since = None
            self.divs -= 1

    def handle_data(self, data: str) -> None:
        if self.silent:
            return
        (self.words if self.frame_since is None else self.frames[-1]).append(data)


def squeezed(text: str) -> str:
    return " ".join(text.split())


@dataclass
class Output:
    """One thing that a person can read: its name, its words, its links. `frames` has the words of each frame
    of a press, where one caution stands for all its jobs; `outside` those that are in none."""

    name: str
    words: str
    links: list[str] = field(default_factory=list)
    frames: list[str] = field(default_factory=list)
    outside: str = ""

    @classmethod
    def of_html(cls, name: str, html: str) -> Output:
        parser = Words()
        parser.feed(html)
        frames = [squeezed(" ".join(words)) for words in parser.frames]
        outside = squeezed(" ".join(parser.words))
        return cls(name, " ".join([outside, *frames]), parser.links, frames, outside)

    @cached_property
    def queries_for_a_rule(self) -> list[dict[str, str]]:
        """What its links ask for, of those that name a rule; read once for all tasks."""
        queries = (dict(parse_qsl(urlsplit(link).query)) for link in self.links)
        return [query for query in queries if "rule" in query]

    @classmethod
    def of_text(cls, name: str, text: str) -> Output:
        words = squeezed(text)
        return cls(name, words, outside=words)


STATES = "|".join(str(word) for word in STATE_WORDS.values())


@cache
def signs_of(item: DueItem, language: str | None) -> tuple[str, str, re.Pattern[str]]:
    """How a task is named in a language: its sentence, its heading, and work with part. Made once, since the
    walk asks it of each page."""
    work, part = work_word(item.action), re.escape(item.part)
    named = rf"\b{work} (\w+ )?{part}\b|\b{part}\b[^:]{{0,200}}\b({STATES}): {work}\b"
    return squeezed(item.why), task_line(item), re.compile(named, re.IGNORECASE)


def shows(output: Output, item: DueItem) -> bool:
    """Whether the output names the task: by its sentence, by its heading, by work and part, by a line below
    the part as in `Due: flip`, or by a link to its job."""
    sentence, heading, named = signs_of(item, get_language())
    if sentence in output.words or heading in output.words:
        return True
    if item.part and item.part in output.words and named.search(output.words):
        return True
    return any(opens_job(query, item) for query in output.queries_for_a_rule)


def opens_job(query: dict[str, str], item: DueItem) -> bool:
    same_place = query.get("press") == str(item.press_id) or (
        item.fitting_id is not None and query.get("fitting") == str(item.fitting_id)
    )
    about = query.get("fitting", "") == str(item.fitting_id or "")
    return query.get("rule") == str(item.rule_id) and same_place and about


def lacking(output: Output, items: Sequence[DueItem], *, each: bool = True) -> list[str]:
    """What is missing: for each task that the output shows its caution's text and its isolation points; with
    `each`, as many times as there are tasks whose sentence is shown. In the frame of a press one caution
    stands for all: each sentence of the caution of each of its tasks must be in the frame, and each point."""
    missing = []
    framed = set()
    for words in output.frames:
        frame = Output(output.name, words)
        for item in items:
            if squeezed(item.why) in words or task_in_frame(words, item):
                framed.add(id(item))
                missing += [
                    f"{output.name} frames {item.rule} ({item.part or item.press}) without {sentence[:60]!r}"
                    for sentence in (*sentences_of(item.caution), *item.caution.isolation_points)
                    if squeezed(sentence) not in frame.words
                ]
                if word_weight(words) < SIGNAL_WORDS.index(item.caution.signal_word):
                    missing.append(f"{output.name} frames {item.rule} with too mild a word")
    rest = Output(output.name, output.outside, output.links)
    shown = [item for item in items if id(item) not in framed and shows(rest, item)]
    told = Counter(item.caution for item in shown if squeezed(item.why) in rest.words)
    for caution in dict.fromkeys(item.caution for item in shown):
        named = ", ".join(
            f"{item.rule} ({item.part or item.press})" for item in shown if item.caution == caution
        )
        for words in (caution.signal_word, caution.text, *caution.isolation_points):
            wanted = max(told[caution], 1) if each else 1
            if rest.words.count(squeezed(words)) < wanted:
                missing.append(f"{output.name} shows {named} without {words[:60]!r}")
    return missing


SIGNAL_WORDS = ("CAUTION", "WARNING", "DANGER")


def word_weight(words: str) -> int:
    """The place in `SIGNAL_WORDS` of the word that a frame's band shows; -1 without one."""
    return max((place for place, word in enumerate(SIGNAL_WORDS) if word in words), default=-1)


def task_in_frame(words: str, item: DueItem) -> bool:
    press = re.escape(item.press_name or item.press)  # not the P2 in the mark 3-KMP24 of a caution
    return task_heading(item) in words and re.search(rf"(?<!\w){press}(?!\w)", words) is not None


def sentences_of(caution: Caution) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?…]) (?=[^a-z])", caution.text) if part]


# -------- pages


def patterns(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every address pattern of the site with its full name, however deep it is included."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            space = f"{entry.namespace}:" if entry.namespace else ""
            yield from patterns(entry, prefix + space)
        elif entry.name:
            yield prefix + entry.name, entry


def own_patterns() -> list[tuple[str, URLPattern]]:
    """The site's own addresses, but for the one that ends the walk."""
    return [
        (name, pattern)
        for name, pattern in patterns()
        if pattern.lookup_str.startswith("wearlog.") and name != "web:sign-out"
    ]


def own_addresses() -> list[str]:
    """Every address with sample values in its path, and asked with sample queries."""
    values = sample_values()
    plain = [
        reverse(name, kwargs=arguments)
        for name, pattern in own_patterns()
        for arguments in sample_arguments(pattern, values)
    ]
    return plain + [address + query for address in plain for query in sample_queries(address)]


def sample_queries(address: str) -> list[str]:
    """What may be asked of an address that takes an entry: a press, a place, with and without a part."""
    if not address.startswith("/log/"):
        return []
    fitting = Fitting.objects.open().first()
    empty = Position.objects.exclude(fittings__in=Fitting.objects.open()).first()
    assert fitting
    assert empty
    return [f"?press={fitting.position.press_id}", f"?fitting={fitting.pk}", f"?position={empty.pk}"]


def sample_values() -> dict[str, list[Any]]:
    """Values for each argument of an address. A number is tried as the key of every table's first row."""
    firsts = sorted({key for model in own_models() for key in first_keys(model)})
    return {
        "pk": firsts,
        "kind": ["run", "service", "reading", "measurement", "incident", "fitting", "note", "shiftnote"],
        "secret": ["not-a-secret"],
        "code": [str(Code(named, pk)) for named in ("press", "position", "part") for pk in firsts],
        "key": [card_key(item) for item in due_items(as_of=timezone.localdate())[:SAMPLES]] + ["1.1.1.1.-"],
        "token": mail_tokens(),
        "hazard": ["trapped-pressure"],
    }


def sample_arguments(pattern: URLPattern, values: dict[str, list[Any]]) -> list[dict[str, Any]]:
    """Every combination of `values` for the arguments of an address."""
    found: list[dict[str, Any]] = [{}]
    for name in pattern.pattern.converters:
        found = [one | {name: value} for one in found for value in values.get(name, ["1"])]
    return found


def mail_tokens() -> list[str]:
    """What the links of a mail end with: one of a job, one that stops the mails."""
    today = timezone.localdate(timezone=Mill.current().zone)
    person = User.objects.filter(is_active=True).order_by("pk")[0]
    links = [job_url(item, person, made_on=today) for item in due_items(as_of=today)[:SAMPLES]]
    return [link.rstrip("/").rpartition("/")[2] for link in (*links, stop_url(person, SINGLE))]


def own_models() -> list[type[models.Model]]:
    """All but sessions, whose keys are no numbers and stand in no address."""
    models_of_ours = [model for model in apps.get_models() if model.__module__.startswith("wearlog.")]
    return [model for model in models_of_ours if model is not Session]


def first_keys(model: type[models.Model]) -> list[int]:
    return list(model._default_manager.order_by("pk").values_list("pk", flat=True)[:1])


def pages(person: User, *, begin: Sequence[str] = (), numbered: int = NUMBERED) -> Iterator[Output]:
    """Every page that the person may open: all addresses of the site (or `begin`), and what they link to, so
    many of each kind at most."""
    client = Client()
    client.force_login(person)
    waiting = list(begin or own_addresses())
    seen: set[str] = set()
    opened: Counter[tuple[str, ...]] = Counter()
    while waiting:
        address = urldefrag(waiting.pop(0)).url
        if address in seen:
            continue
        seen.add(address)
        if urlsplit(address).path.endswith(".pdf"):
            continue  # drawn from a page that is walked; `tests/web/printing/test_cards_as_pdf.py` reads it
        name = resolve(urlsplit(address).path).url_name or ""
        query = sorted(key for key, _value in parse_qsl(urlsplit(address).query))
        most = SAMPLES if query and name != "job-card" else numbered
        # A table of records takes filters, an order and a page in any combination: each of these is followed.
        is_table = query and name.startswith("records-")
        kinds = [(name, key) for key in query] if is_table else [(name, *query)]
        if all(opened[kind] >= most for kind in kinds):
            continue
        response = client.get(address)
        if response.status_code != 200:
            continue
        opened.update(kinds)
        content = b"".join(response) if response.streaming else response.content
        title = f"{address} as {person.role}"
        if "html" not in response.headers["Content-Type"]:
            if "text" in response.headers["Content-Type"] or "json" in response.headers["Content-Type"]:
                yield Output.of_text(title, content.decode())
            continue
        output = Output.of_html(title, content.decode())
        waiting += [link for link in (urljoin(address, each) for each in output.links) if is_own_page(link)]
        yield output


def is_own_page(link: str) -> bool:
    parts = urlsplit(link)
    return not (parts.scheme or parts.netloc or parts.path.startswith("/static/"))
