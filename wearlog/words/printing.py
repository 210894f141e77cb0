"""Due items as JSON, CSV and a table for a terminal. Each of them shows every task with its caution."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from collections.abc import Sequence
from datetime import date

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.text import caution_as_text, word_of
from wearlog.people.spreadsheets import guarded
from wearlog.words.actions import work_word
from wearlog.words.kinds import kind_words
from wearlog.words.tasks import heading_with_place, state_word


def as_data(item: DueItem) -> dict[str, object]:
    """The published form of an item, with its fields in order."""
    return {
        "rule": item.rule,
        "action": item.action,
        "press": item.press,
        "position": item.position,
        "part": item.part,
        "edge": item.edge,
        "state": item.state,
        "trigger": item.trigger,
        "due_on": _day(item.due_on),
        "early_on": _day(item.early_on),
        "late_on": _day(item.late_on),
        "left_kg": _rounded(item.left_kg, 3),
        "left_h": _rounded(item.left_h, 3),
        "left_days": _rounded(item.left_days, 3),
        "basis": item.basis,
        "why": item.why,
        "caution": f"{word_of(item.caution)}: {item.caution.text}",
        "isolation_points": list(item.caution.isolation_points),
    }


def as_json(items: Sequence[DueItem], as_of: date) -> str:
    data = {"as_of": as_of.isoformat(), "items": [as_data(item) for item in items]}
    return json.dumps(data, ensure_ascii=False, indent=2)


def as_csv(items: Sequence[DueItem]) -> str:
    """One row per item; the isolation points share a cell, separated by bars. A text that a spreadsheet would
    run as a formula is prefixed with an apostrophe; numbers stay numbers."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    names = [*as_data_names()]
    writer.writerow(names)
    for item in items:
        data = as_data(item)
        data["isolation_points"] = " | ".join(item.caution.isolation_points)
        writer.writerow([_cell(data[name]) for name in names])
    return stream.getvalue()


def as_data_names() -> tuple[str, ...]:
    return (
        "rule", "action", "press", "position", "part", "edge", "state", "trigger",
        "due_on", "early_on", "late_on", "left_kg", "left_h", "left_days",
        "basis", "why", "caution", "isolation_points",
    )  # fmt: skip


def _cell(value: object) -> object:
    if value is None:
        return ""
    return guarded(value) if isinstance(value, str) else value


def _day(value: date | None) -> str | None:
    return None if value is None else value.isoformat()


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def as_table(items: Sequence[DueItem], as_of: date, width: int) -> str:
    """Press by press, most urgent first: a line of facts with its sentence below, and at the end of each
    press the cautions of its tasks with the isolation points. No line is longer than `width`."""
    lines = [f"Due as of {as_of.isoformat()} (24:00): {len(items)} items"]
    if not items:
        lines.append("No rule applies to anything in place: record rules, presses and fittings first.")
    presses: dict[str, list[DueItem]] = {}
    for item in items:
        presses.setdefault(item.press, []).append(item)
    for press in sorted(presses):
        lines += ["", *_press_lines(presses[press], width)]
    return "\n".join(lines) + "\n"


def _press_lines(items: list[DueItem], width: int) -> list[str]:
    press = items[0].press
    title = press if items[0].press_name in ("", press) else f"{press} · {items[0].press_name}"
    lines = textwrap.wrap(title, width)
    lines.append("=" * max(map(len, lines)))
    for item in items:
        state, what = state_word(item.state).upper(), heading_with_place(item)
        line = f"{state:<14} {_when(item):<18} {what}  [{item.rule}]"
        lines += textwrap.wrap(line, width, subsequent_indent=" " * 9)
        lines += textwrap.wrap(item.why, width, initial_indent=" " * 9, subsequent_indent=" " * 9)
    lines.append("")
    cautions = {item.caution: None for item in items}
    for caution in cautions:
        tasks = sorted({_work(item) for item in items if item.caution == caution})
        lines += textwrap.wrap(f"Before you {', '.join(tasks)}:", width)
        lines += textwrap.indent(caution_as_text(caution, width=width - 2), "  ").splitlines()
    return lines


def _work(item: DueItem) -> str:
    """`flip die`: the work that a caution refers to, for use within a sentence."""
    thing = kind_words(item.kind) if item.kind else ""
    return f"{work_word(item.action)} {thing}".strip()


def _when(item: DueItem) -> str:
    if item.due_on is None:
        return "no day yet" if item.state in ("later", "unknown") else "as soon as it fits"
    return item.due_on.isoformat()
