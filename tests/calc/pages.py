"""Tables that a command puts into a page of the documents, between two marks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path


def put_between(page: Path, begin: str, end: str, lines: Sequence[str]) -> None:
    """Replace what stands between the marks by the lines, with an empty line on both sides. ValueError where
    the page lacks a mark."""
    text = page.read_text(encoding="utf-8")
    before, rest = text.split(begin, 1)
    after = rest.split(end, 1)[1]
    page.write_text(before + "\n".join([begin, "", *lines, "", end]) + after, encoding="utf-8")
