"""Protects text cells from being run as a formula by a spreadsheet, by a mark in front.

One rule for every file that people download: OWASP's list for CSV injection, and the mark itself, so that
removing it gives back the original text.
"""

from __future__ import annotations

from typing import Final

MARK: Final = "'"
RISKY: Final = ("=", "+", "-", "@", "\t", "\r", MARK)


def guarded(text: str) -> str:
    """The text for a cell: with one mark in front where it might be run as a formula."""
    return MARK + text if text.startswith(RISKY) else text


def unguarded(cell: str) -> str:
    """The inverse of `guarded`. A cell written without the mark is unchanged, unless it happens to look like
    one with it."""
    return cell[1:] if cell.startswith(MARK) and cell[1:].startswith(RISKY) else cell
