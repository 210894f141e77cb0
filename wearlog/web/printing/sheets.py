"""The layout of a job card on paper: one sheet where it fits, else further sheets, each with its own caution.

A browser and a PDF must break at the same place, and neither can measure the text first. So the height of
variable text is estimated from its characters, and `tests/web/printing/test_fit.py` checks the estimate
against real sheets.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

PAPERS = {"a4": (532.0, 802.0), "letter": (549.0, 752.0)}
"""Width and height between the margins of `page-a4.css` and `page-letter.css`, in points."""


@dataclass(frozen=True)
class Type:
    """One type size of the card: its name as a class in `card.css`, and its sizes in points."""

    name: str
    caution: float
    points: float
    gap: float
    """The space between the blocks of the sheet."""
    after: float
    """The height of the fields to fill in afterwards, which is fixed."""
    columns: int
    boxes: float
    """The width of the columns with boxes in each table."""


OPEN = Type("open", caution=11, points=11, gap=5, after=148, columns=1, boxes=104)
CLOSE = Type("close", caution=9, points=9, gap=3.5, after=118, columns=2, boxes=78)
FACTS, AT_THE_BENCH = 11, 9.5
HAZARDS = 11
"""The smallest type size for the text about hazards, in points."""
SLACK = 10
"""The reserve on every sheet for errors of the estimate, in points."""


@dataclass(frozen=True)
class Point:
    """One isolation point with its number on the whole card."""

    number: int
    text: str


@dataclass(frozen=True)
class Sheet:
    """One sheet: its number, its type size, and its isolation points, column by column.

    `how`: the rule's instructions are on this sheet; `test`: the steps for a test under power are."""

    number: int
    setting: str
    columns: tuple[tuple[Point, ...], ...]
    how: bool
    test: bool

    @property
    def first(self) -> bool:
        return self.number == 1

    @property
    def points(self) -> tuple[Point, ...]:
        return tuple(point for column in self.columns for point in column)

    @property
    def last_number(self) -> int:
        return self.points[-1].number


def ems(text: str) -> float:
    """The approximate width of a text in units of its type size; capitals and wide scripts count more.

    Averages of Arial's advance widths, from memory, slightly too large to be safe.
    """
    wide = 0.0
    for letter in text:
        if unicodedata.east_asian_width(letter) in "WF":
            wide += 1.0
        elif letter in "mwMW@%" or letter.isupper():
            wide += 0.74
        elif letter in "ijltfr .,;:'|()[]/-":
            wide += 0.32
        else:
            wide += 0.55
    return wide


def lines_of(text: str, *, size: float, width: float) -> int:
    """The number of lines of a paragraph as a browser breaks it: at words, and within words that are too
    long."""
    lines, used, space = 1, 0.0, 0.3 * size
    for word in text.split():
        length = ems(word) * size
        if used and used + space + length > width:
            lines, used = lines + 1, 0.0
        if length > width:
            lines += int(length // width)
            length %= width
        used += length + (space if used else 0)
    return lines


def height_of(text: str, *, size: float, width: float, leading: float = 1.22) -> float:
    """The height of a paragraph in points; characters from another typeface make its lines taller."""
    taller = 1.12 if any(letter >= FROM_ANOTHER and letter.isalpha() for letter in text) else 1.0
    return lines_of(text, size=size, width=width) * size * leading * taller


FROM_ANOTHER = "\u0590"
"""The first character (in Unicode's order) of the scripts that Arial and similar typefaces lack or set
taller."""


def height_of_point(point: Point, setting: Type, width: float) -> float:
    """The height of a row of the table, at least that of its box."""
    wide = (width - 6 * (setting.columns - 1)) / setting.columns - setting.boxes - 8
    text = height_of(f"{point.number}. {point.text}", size=setting.points, width=wide, leading=1.2)
    return max(text, 13.0) + (3 if setting is CLOSE else 5)


@dataclass(frozen=True)
class Content:
    """The variable text of a card, on which the height of its first sheet depends."""

    title: str
    facts: tuple[str, ...]
    """Facts for the work at the machine: where, and the gauge with its limit."""
    bench: tuple[str, ...]
    """Facts for the preparation: why it is due, what to bring."""
    how: str
    caution: tuple[str, ...]
    """The caution's paragraphs, what can hurt first, without the steps that have boxes."""
    steps: str
    """The steps as one sentence, for sheets without the boxes."""
    test: str
    """The steps before and after a test under power."""
    apply: tuple[str, ...]
    release: tuple[str, ...]
    points: tuple[str, ...]


def sheets_of(content: Content, *, paper: str) -> tuple[Sheet, ...]:
    """One sheet where everything fits; else the instructions, then isolation points, move to further sheets.

    The larger type size is used where everything fits in it. No point is ever left out.
    """
    points = tuple(Point(number, text) for number, text in enumerate(content.points, start=1))
    width, height = PAPERS[paper]
    for setting in (OPEN, CLOSE):
        room = height - SLACK - top_height(content, setting, width, how=True)
        room -= after_height(content, setting, width)
        # The steps for a test under power are included where that needs no smaller type.
        for test in (True, False):
            left = room - (test_height(content, setting, width) if test else 0)
            columns, rest = filled(points, setting, width, left)
            if left >= UNRECORDED[setting.name] * (not points) and not rest:
                return (Sheet(1, setting.name, columns, how=True, test=test),)
    how = len(content.how) <= HOW_IN_FULL
    top = top_height(content, CLOSE, width, how=how)
    room = height - SLACK - top - after_height(content, CLOSE, width) - CONTINUED
    columns, rest = filled(points, CLOSE, width, room)
    sheets = [Sheet(1, CLOSE.name, columns, how=how, test=False)]
    while rest or not how:
        setting, columns, rest = continuation(content, rest, width, height, how=not how)
        second = len(sheets) == 1
        sheets.append(Sheet(len(sheets) + 1, setting.name, columns, how=not how, test=second))
        how = True
    return tuple(sheets)


HOW_IN_FULL = 300
"""Instructions up to this many characters always stay on the first sheet."""
CONTINUED = 22.0
"""The height of the framed line that refers to the next sheet."""
UNRECORDED = {"open": 115.0, "close": 100.0}
"""The height of the blank lines for energy sources, where none is recorded."""
TABLE = {"open": 30.0, "close": 28.0}
"""The height of the heading of the isolation points and of their table's header."""


def continuation(
    content: Content, points: tuple[Point, ...], width: float, height: float, *, how: bool
) -> tuple[Type, tuple[tuple[Point, ...], ...], tuple[Point, ...]]:
    """The next sheet: its type size, its columns, and the points left for another one."""
    for setting in (OPEN, CLOSE):
        top = 11 + height_of(content.title, size=16, width=width, leading=1.15) + 2 * CONTINUED + 45
        top += caution_height(content, setting, width) + 6 * setting.gap
        top += height_of(content.steps, size=setting.caution, width=width - 14, leading=1.2) + 3
        top += test_height(content, setting, width)
        top += height_of(content.how, size=11, width=width, leading=1.25) if how else 0
        columns, rest = filled(points, setting, width, height - SLACK - top)
        if not rest:
            return setting, columns, rest
    if not columns:  # a point longer than a sheet is printed all the same
        columns, rest = ((rest[0],),), rest[1:]
    return setting, columns, rest


def filled(
    points: tuple[Point, ...], setting: Type, width: float, room: float
) -> tuple[tuple[tuple[Point, ...], ...], tuple[Point, ...]]:
    """As many points as fit in `room`, in columns of about equal height, and the remaining points."""
    heights = [height_of_point(point, setting, width) for point in points]
    for number in range(len(points), 0, -1):
        splits = [number] if setting.columns == 1 or number == 1 else range(1, number)
        tallest, split = min((max(sum(heights[:at]), sum(heights[at:number])), at) for at in splits)
        if tallest + TABLE[setting.name] <= room:
            columns = (points[:split], points[split:number])
            return tuple(column for column in columns if column), points[number:]
    return (), points


def top_height(content: Content, setting: Type, width: float, *, how: bool) -> float:
    """The height from the top margin to the isolation points."""
    code = CODE[setting.name]
    height = 11 + height_of(content.title, size=16, width=width - code, leading=1.15) + 2
    facts = [(fact, FACTS) for fact in (*content.facts, content.how if how else "") if fact]
    for fact, size in (*facts, *((each, AT_THE_BENCH) for each in content.bench)):
        beside = code if height < code + 10 else 0.0  # the QR code is about as high as wide
        height += height_of(fact, size=size, width=width - beside)
    height = max(height, code + 10)
    height += caution_height(content, setting, width) + steps_height(content.apply, setting, width)
    return height + 5 * setting.gap


CODE = {"open": 82.0, "close": 76.0}
"""The width of the QR code with the gap next to it, in points."""


def caution_height(content: Content, setting: Type, width: float) -> float:
    hazards, *rest = content.caution
    height = 24 + height_of(hazards, size=HAZARDS, width=width - 14, leading=1.2) + 3
    return height + sum(
        height_of(each, size=setting.caution, width=width - 14, leading=1.2) + 3 for each in rest
    )


def steps_height(steps: tuple[str, ...], setting: Type, width: float) -> float:
    """The height of a heading and the steps with their boxes, in two or three columns."""
    across = 2 if setting is OPEN else 3
    size = 11 if setting is OPEN else 9.5
    wide = (width - 14 * (across - 1)) / across - 18
    rows = [steps[at : at + across] for at in range(0, len(steps), across)]
    return 14 + sum(
        max(height_of(f"9. {step}", size=size, width=wide, leading=1.15) for step in row) + 2 for row in rows
    )


def test_height(content: Content, setting: Type, width: float) -> float:
    return height_of(content.test, size=9, width=width, leading=1.2) + setting.gap


def after_height(content: Content, setting: Type, width: float) -> float:
    """The height of everything filled in afterwards: the fixed fields, and the steps before a restart."""
    return setting.after + steps_height(content.release, setting, width)
