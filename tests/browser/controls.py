"""The controls of a page as they lie there: which are too small or too near for a thumb in a glove."""

from __future__ import annotations

from typing import NamedTuple

from playwright.sync_api import Page

PRESS_SIDE = {
    "day", "forecast", "scan", "scan-code", "scan-job", "press", "press-open", "part", "waiting", "run-new",
    "run-stop", "shift-sheet", "week", "work-new", "incident-new", "crop-change-new", "note-new",
    "reading-new",
    "measurement-new", "fitting-new", "fitting-end", "fitting-swap", "due-mark", "isolation", "lock-on",
    "lock-off", "lock-verify", "lock-hand-over", "isolation-end", "my-devices",
}  # fmt: skip


GLOVE, FLOOR, GAP = 48, 24, 8
"""Pixels: ours for pages used at a press, WCAG 2.2's 2.5.8 for all others and for links within a sentence,
ours between two controls."""


MEASURE = """() => {
  const controls = 'a[href], button, summary, select, textarea, input:not([type=hidden])';
  return [...document.querySelectorAll(controls)]
    .filter(one => one.checkVisibility({visibilityProperty: true}) && !one.closest('.unseen'))
    .map(one => {
      const target = ['checkbox', 'radio'].includes(one.type) ? one.closest('label') ?? one : one;
      const box = target.getBoundingClientRect();
      const words = `${one.tagName} ${one.textContent.trim() || one.name}`.replace(/\\s+/g, ' ').slice(0, 60);
      const inText = one.matches('a') && getComputedStyle(one).display === 'inline' && !one.matches('svg a');
      return [words, inText, Boolean(one.closest('.ways-in, .savebar')), Boolean(one.closest('svg')),
        box.left, box.top + scrollY, box.right, box.bottom + scrollY];
    });
}"""


class Control(NamedTuple):
    """A control as it lies on the page, in CSS pixels. `drawn`: a balloon of the press drawing, which leads
    where its line in the list below leads too (2.5.8: an equivalent control)."""

    words: str
    in_text: bool
    hovers: bool
    drawn: bool
    left: float
    top: float
    right: float
    bottom: float

    @property
    def smaller_side(self) -> float:
        return min(self.right - self.left, self.bottom - self.top)

    def gap_to(self, other: Control) -> float:
        return max(
            other.left - self.right,
            self.left - other.right,
            other.top - self.bottom,
            self.top - other.bottom,
        )


def controls(page: Page) -> list[Control]:
    return [Control(*row) for row in page.evaluate(MEASURE)]


def too_small(found: list[Control], least: float) -> list[str]:
    """Controls whose smaller side is below `least`, half a tenth of a pixel of rounding aside."""
    return [
        f"{one.words}: {one.smaller_side:.1f} pixels"
        for one in found
        if one.smaller_side < (FLOOR if one.in_text or one.drawn else least) - 0.05
    ]


def too_close(found: list[Control]) -> list[str]:
    """Pairs nearer than `GAP`; what hovers over the page, words in text and the drawing left out."""
    flow = [one for one in found if not (one.hovers or one.in_text or one.drawn)]
    return [
        f"{one.words} and {other.words}: {one.gap_to(other):.1f} pixels"
        for number, one in enumerate(flow)
        for other in flow[number + 1 :]
        if one.gap_to(other) < GAP - 0.05
    ]
