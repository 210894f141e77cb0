"""What a page says outside of the brackets of the made-up language."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from django.apps import apps
from django.db import models

from tests.config.catalogues import CLOSE, OPEN

SPOKEN = ("alt", "title", "placeholder", "label", "aria-label", "aria-description", "aria-valuetext")
CODES = (
    "AuditEntry.action",
    "AuditEntry.record",
    "AuditEntry.by_name",
    "CautionWording.hazard",
    "Rule.action",
)
SILENT = ("script", "style")


class Reader(HTMLParser):
    """The texts of a page in their order, and the attributes that are read out or shown by a script."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.attributes: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in SILENT
        if tag == "meta":
            return
        for name, value in attrs:
            if value and (name in SPOKEN or (name.startswith("data-") and " " in value.strip())):
                self.attributes.append(value)

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in SILENT

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.texts.append(data)


def outside(texts: list[str]) -> list[str]:
    """What stands outside of brackets, where a bracket may open in one text and close in a later one."""
    depth, found = 0, []
    for text in texts:
        left = ""
        for part in re.split(f"([{OPEN}{CLOSE}])", text):
            if part == OPEN:
                depth += 1
                left += " "
            elif part == CLOSE:
                depth = max(0, depth - 1)
            elif depth == 0:
                left += part
        if left.strip():
            found.append(left)
    return found


def data_of_the_mill() -> list[str]:
    """Every text that is stored, the longest first: names, codes, notes."""
    found: set[str] = set()
    for model in apps.get_models():
        if not model.__module__.startswith("wearlog."):
            continue
        names = [
            field.name
            for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField)
            and not field.choices
            and f"{model.__name__}.{field.name}" not in CODES
        ]
        for row in model._default_manager.values_list(*names) if names else ():
            found |= {" ".join(value.split()) for value in row if value}
    return sorted(found, key=len, reverse=True)


def untranslated(html: str, *, data: list[str], exempt: re.Pattern[str]) -> list[str]:
    """What a page says in letters that is neither translated nor data nor exempt."""
    reader = Reader()
    reader.feed(html)
    reader.close()
    left = outside(reader.texts) + [each for value in reader.attributes for each in outside([value])]
    return [text for text in left if letters_in(text, data=data, exempt=exempt)]


def letters_in(text: str, *, data: list[str], exempt: re.Pattern[str]) -> str:
    rest = " ".join(text.split())
    for value in data:
        if value.casefold() in rest.casefold():  # a name may begin a line with a capital
            rest = re.sub(rf"(?<!\w){re.escape(value)}(?!\w)", " ", rest, flags=re.IGNORECASE)
    rest = exempt.sub(" ", rest)
    return " ".join(re.findall(r"[^\W\d_]+", rest))
