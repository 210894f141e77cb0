"""Text in a cell that a spreadsheet would run as a formula, and the mark that keeps it from doing so.

One rule for every file that people take away: OWASP's list for CSV injection, and the mark itself, so that
taking it off again gives back what was there.
"""

from __future__ import annotations

from typing import Final

MARK: Final = "'"
RISKY: Final = ("=", "+", "-", "@", "\t", "\r", MARK)


def guarded(text: str) -> str:
    """The text as it may stand in a cell: one mark in front of what might be a formula."""
    return MARK + text if text.startswith(RISKY) else text


def unguarded(cell: str) -> str:
    """What `guarded` was given. A cell that somebody wrote without knowing of the mark stays as it is, unless
    it reads as one with it."""
    return cell[1:] if cell.startswith(MARK) and cell[1:].startswith(RISKY) else cell
