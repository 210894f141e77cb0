"""What was typed at the phones, held against the database."""

from __future__ import annotations

from collections import Counter

from tests.soak.offline.phone import Typed
from wearlog.equipment.models import Fitting
from wearlog.runs.models import Reading, Run, ShiftNote
from wearlog.service.models import Service

SLACK_SECONDS = 1.5
"""A field for a moment has no fractions of a second."""


COMES_LATE = ("flip", "meter run")
"""Kinds that another entry can be in the way of: one that was stored first, though it was typed later."""


def verdict(ledger: list[Typed], jammed: list[str]) -> tuple[list[str], dict[str, int]]:
    """What is wrong, in sentences; and the figures."""
    wrong = [f"jammed: {one}" for one in jammed]
    told = Counter({"entries typed": len(ledger), "lost": 0, "doubled": 0, "overwritten silently": 0})
    told["jammed"] = len(jammed)
    flipped: dict[int, str] = {}
    for typed in ledger:
        rows = stored(typed)
        told[f"{typed.kind}s typed" if typed.kind != "work" else "other work typed"] += 1
        if len(rows) > 1:
            told["doubled"] += 1
            wrong.append(f"doubled: {typed} stands {len(rows)} times in the log")
        elif not rows and not typed.fate:
            told["lost"] += 1
            wrong.append(f"lost: {typed}")
        elif typed.fate:
            if rows and typed.fate != "waits behind it":  # that one may be stored, with its answer lost
                wrong.append(f"thrown away or left, and stored all the same: {typed}")
            if typed.fate in ("left open", "waits behind it"):
                told[f"on the device at the end: {typed.fate}"] += 1
            elif typed.spoilt == "throw":
                told["refused and thrown away"] += 1
            else:
                told["conflicts shown and decided"] += 1
                if typed.kind not in COMES_LATE:
                    wrong.append(f"refused, though nobody was in its way: {typed}")
        elif typed.kind == "flip" and rows:
            problem = of_flip(typed, rows[0], flipped)
            if problem:
                told["overwritten silently"] += 1
                wrong.append(problem)
        elif typed.spoilt and typed.spoilt != "mend":
            wrong.append(f"something was missing in it, and it was stored: {typed}")
        told["refused, mended and stored"] += typed.spoilt == "mend" and len(rows) == 1
        told["stored"] += len(rows) == 1
        for row in rows[:1]:
            # The moment of a run is typed here, and a note's is when it came: those two tell nothing.
            when = "read_at" if typed.kind == "reading" else "done_at"
            moment = getattr(row, when, None)
            if (
                moment
                and not typed.began - SLACK_SECONDS <= moment.timestamp() <= typed.ended + SLACK_SECONDS
            ):
                wrong.append(f"not at the moment at which it was typed: {typed}, stored with {moment}")
    strangers = Service.objects.count() + Run.objects.count() + ShiftNote.objects.count()
    known = sum(len(stored(typed)) for typed in ledger if typed.kind != "reading")
    if strangers != known:
        wrong.append(f"{strangers - known} records in the log that nobody typed")
    return wrong, dict(told)


def stored(typed: Typed) -> list[Run | Reading | ShiftNote | Service]:
    if typed.kind in ("run", "meter run"):
        return list(Run.objects.not_voided().filter(lot=typed.mark))
    if typed.kind == "reading":
        return list(Reading.objects.not_voided().filter(meter_h=typed.mark, press__code="N"))
    if typed.kind == "note":
        return list(ShiftNote.objects.not_voided().filter(text=typed.mark))
    return list(Service.objects.not_voided().filter(finding=typed.mark))


def of_flip(typed: Typed, row: object, flipped: dict[int, str]) -> str:
    """A flip turns the edge that its page showed, once, and ends just that fitting. "" where all is well."""
    assert isinstance(row, Service)
    fitting = Fitting.objects.get(pk=int(typed.fitting))
    if fitting.pk in flipped:
        return f"{typed} and {flipped[fitting.pk]} both turned the die from edge {fitting.edge}"
    flipped[fitting.pk] = typed.mark
    if (row.part_id, row.edge, row.done_at) != (fitting.part_id, fitting.edge, fitting.removed_at):
        shown = f"the page showed {fitting.part} {fitting.edge}"
        return f"{typed} was stored as work on {row.part} {row.edge}; {shown}"
    return ""
