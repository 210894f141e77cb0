"""Catalogues of texts as the tests read and make them."""

from __future__ import annotations

import ast
import os
import re
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LOCALE = ROOT / "wearlog" / "locale"

OPEN, CLOSE = "⟦", "⟧"


@dataclass
class Entry:
    """One text. `key` is its context (or "") and its English; `said` has one translation, or one for each
    plural form."""

    context: str = ""
    msgid: str = ""
    plural: str = ""
    said: dict[int, str] = field(default_factory=dict)
    flags: set[str] = field(default_factory=set)
    comments: list[str] = field(default_factory=list)
    obsolete: bool = False

    @property
    def key(self) -> tuple[str, str, str]:
        return self.context, self.msgid, self.plural


def entries(path: Path) -> list[Entry]:
    """Every entry of a .po or .pot file, the head (with an empty msgid) first."""
    return list(_entries(path.read_text(encoding="utf-8").splitlines()))


CODE = re.compile(r"<code>.*?</code>|<[^>]+>|https?://\S+|%\(\w+\)[sd]")


def texts(language: str) -> Iterator[tuple[str, str]]:
    """(English, translated) of every entry; of plurals, each form beside the English one of its number."""
    for entry in entries(LOCALE / language / "LC_MESSAGES" / "django.po")[1:]:
        yield entry.msgid, entry.said[0]
        if entry.plural:
            yield entry.plural, entry.said[1]


def as_read(text: str) -> str:
    """The text that is read, without tags, addresses and placeholders."""
    return CODE.sub("x", text)


def _entries(lines: Iterable[str]) -> Iterator[Entry]:
    entry, into, begun = Entry(), "", False
    for line in [*lines, ""]:
        if not line.strip():
            if begun:
                yield entry
            entry, into, begun = Entry(), "", False
            continue
        if line.startswith("#~"):
            entry.obsolete, begun = True, True
        elif line.startswith("#,"):
            entry.flags |= {flag.strip() for flag in line[2:].split(",")}
        elif line.startswith("#"):
            entry.comments.append(line)
        else:
            found = re.match(r'(msgctxt|msgid_plural|msgid|msgstr(?:\[(\d)\])?)\s+(".*")$', line)
            text = ast.literal_eval(found[3] if found else line)
            if found:
                into = f"msgstr[{found[2] or 0}]" if found[1].startswith("msgstr") else found[1]
            begun = True
            match into:
                case "msgctxt":
                    entry.context += text
                case "msgid":
                    entry.msgid += text
                case "msgid_plural":
                    entry.plural += text
                case _:
                    form = int(into[7])
                    entry.said[form] = entry.said.get(form, "") + text


def gathered(folder: Path) -> Path:
    """The path of a fresh catalogue without translations, gathered from a copy of the source in `folder`
    by the command that `DEVELOPERS.md` names."""
    ours = shutil.ignore_patterns("locale", "__pycache__", "static")
    shutil.copytree(ROOT / "wearlog", folder / "wearlog", ignore=ours)
    shutil.copy(ROOT / "manage.py", folder)
    (folder / "wearlog" / "locale").mkdir()
    options = ["-l", "xx", "--no-wrap", "--add-location", "file", "--no-obsolete"]
    subprocess.run(
        [sys.executable, "../manage.py", "makemessages", *options],
        cwd=folder / "wearlog",
        env=os.environ | {"DATA_DIR": str(folder), "PYTHONDONTWRITEBYTECODE": "1"},
        check=True,
        capture_output=True,
        timeout=120,
    )
    return folder / "wearlog" / "locale" / "xx" / "LC_MESSAGES" / "django.po"


def compiled(messages: Mapping[str, str]) -> bytes:
    """A .mo file, as GNU gettext describes it: sorted keys, with context and plural where there are any."""
    keys = sorted(key.encode() for key in messages)
    texts = [messages[key.decode()].encode() for key in keys]
    at = 28 + 16 * len(keys)
    heads, body = b"", b""
    for one in (keys, texts):
        for text in one:
            heads += struct.pack("<II", len(text), at + len(body))
            body += text + b"\0"
    return struct.pack("<IIIIIII", 0x950412DE, 0, len(keys), 28, 28 + 8 * len(keys), 0, 0) + heads + body


def wrapped(found: Iterable[Entry]) -> dict[str, str]:
    """A made-up language, in which every text stands in brackets."""
    messages = {"": "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"}
    for entry in found:
        if not entry.msgid:
            continue
        key = f"{entry.context}\x04{entry.msgid}" if entry.context else entry.msgid
        text = f"{OPEN}{entry.msgid}{CLOSE}"
        if entry.plural:
            key, text = f"{key}\0{entry.plural}", f"{text}\0{OPEN}{entry.plural}{CLOSE}"
        messages[key] = text
    return messages
