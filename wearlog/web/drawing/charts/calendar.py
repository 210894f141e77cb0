"""The description of the season plan as a calendar, in Vega-Lite: a strip for each press with what was
pressed and is planned, the work above it and what is due below it.

A job stands only where the press's lock and its number of points stand beside the name. There is a wide
picture for a desk, and a narrow one, 320 units wide, for a phone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from wearlog.forecasts.items import DueItem
from wearlog.web.drawing.charts.campaigns import DAY_S, Calendar, Campaign, PressYear
from wearlog.web.drawing.charts.layers import rule, rules, symbols, texts, whole
from wearlog.web.drawing.charts.render import INK, LINE, SHEET, SOFT, Spec
from wearlog.web.drawing.charts.room import CHARACTER, Room, Word
from wearlog.web.drawing.charts.textures import bar, hatching

MARKS = {
    "overdue": ("square", INK),
    "due": ("diamond", INK),
    "coming": ("diamond", SHEET),
    "unknown": ("circle", SHEET),
    "later": ("circle", SHEET),
}
"""Form and filling of a job by its state."""
LOCK = "M5,9L5,6A5,5,0,0,1,15,6L15,9L17,9L17,19L3,19L3,9ZM8,9L12,9L12,6A2,2,0,0,0,8,6Z"
BAR = 22.0
APART = 13.0


@dataclass(frozen=True)
class Shape:
    """The measures of a picture: the plot, what stands left of it, and how much room a press has."""

    width: float
    left: float
    head: float
    row: float
    bar_at: float
    due_rows: tuple[float, ...]
    names_above: bool
    work: bool = True


WIDE = Shape(width=980, left=118, head=26, row=98, bar_at=24, due_rows=(62, 80), names_above=False)
NARROW = Shape(width=300, left=8, head=24, row=112, bar_at=34, due_rows=(72, 89), names_above=True)
STRIPS = Shape(width=192, left=114, head=4, row=32, bar_at=4, due_rows=(), names_above=False, work=False)
"""Small, for a page that has the jobs elsewhere: the crops of each press alone."""
RIGHT = 12.0


@dataclass(frozen=True, kw_only=True)
class CalendarWords:
    """ticks: instants and months. jobs: the wordings of each job from the fullest to the shortest, by press
    and place in its frame. work: the word of each kind of work. stands: a press that is locked today; stood:
    one that pressed nothing for a while."""

    ticks: Sequence[tuple[float, str]]
    today: str
    idle: str
    stands: str
    stood: str
    jobs: Mapping[tuple[int, int], Sequence[str]]
    work: Mapping[str, str]


@dataclass
class Drawn:
    """What is collected strip by strip."""

    bars: list[dict[str, object]]
    marks: list[dict[str, object]]
    hatched: list[dict[str, object]]
    locks: list[dict[str, object]]
    boxes: list[dict[str, object]]
    rows: list[Spec]
    words: list[Word]


def spec(calendar: Calendar, words: CalendarWords, shape: Shape) -> Spec:
    """Months, strips, today's line, and where the mill stands."""
    height = shape.row * len(calendar.presses)
    drawn = Drawn([], [], [], [], [], [], [])
    for number, year in enumerate(calendar.presses):
        _strip(calendar, year, words, shape, shape.row * number, drawn)
    for start, end in calendar.idle:
        left, right = _x(calendar, shape, start), _x(calendar, shape, end)
        drawn.hatched.append(
            {"x": round(left, 1), "y": 0, "shape": hatching(right - left, height, 12), "fill": SHEET}
        )
    today = _x(calendar, shape, calendar.today)
    grid = [rule(_x(calendar, shape, at), 0, _x(calendar, shape, at), height) for at, _word in words.ticks]
    layers = [
        *([rules("grid", grid, color=LINE)] if grid else []),
        *([symbols("idle", drawn.hatched, size=4, stroke=1, color=SOFT)] if drawn.hatched else []),
        *([symbols("bars", drawn.bars, size=4, stroke=1.25)] if drawn.bars else []),
        rules("rules", [*drawn.rows, rule(today, -4, today, height, width=1.5, dash=[1.5, 4])]),
        *([symbols("marks", drawn.marks, size=80)] if drawn.marks else []),
        *([symbols("boxes", drawn.boxes, size=4, stroke=1)] if drawn.boxes else []),
        *([symbols("locks", drawn.locks, size=2, stroke=0.1, color=SHEET)] if drawn.locks else []),
        *texts([*drawn.words, *_around(calendar, words, shape, height)]),
    ]
    foot = 22 if calendar.idle or not shape.work else 4
    return whole(shape.width, height, (shape.left, RIGHT, shape.head, foot), layers)


def _x(calendar: Calendar, shape: Shape, instant: float) -> float:
    inside = min(max(instant, calendar.left), calendar.right)
    return shape.width * (inside - calendar.left) / (calendar.right - calendar.left)


def _strip(
    calendar: Calendar, year: PressYear, words: CalendarWords, shape: Shape, top: float, drawn: Drawn
) -> None:
    """One press: its name with the lock, campaigns, work above, jobs below, and a rule under all."""
    room = Room(-shape.left, shape.width + RIGHT)
    drawn.rows.append(rule(-shape.left, top + shape.row - 3, shape.width, top + shape.row - 3, width=1))
    _name(year, shape, top, drawn, room)
    at = top + shape.bar_at
    for one in year.campaigns:
        x = _x(calendar, shape, one.start)
        width = _x(calendar, shape, one.end) - x
        dash = [] if one.pressed else [5, 4]
        drawn.bars += list(bar(x, at, width, calendar.crops.index(one.crop), height=BAR, dash=dash))
    for start, end in year.stood:
        left, right = _x(calendar, shape, start), _x(calendar, shape, end)
        gap = hatching(right - left, BAR, 7)
        drawn.hatched.append({"x": round(left, 1), "y": at, "shape": gap, "fill": SHEET})
        drawn.words += room.first_free(
            [words.stood] if shape.work else [], _gap(left, right, words.stood, at)
        )
    drawn.words += _crops(calendar, year.campaigns, shape, at, room)
    if year.stands_since is not None:
        x = _x(calendar, shape, year.stands_since)
        width = max(_x(calendar, shape, calendar.today) - x, 8.0)
        drawn.bars += list(bar(x, at - 3, width, None, height=BAR + 6, dash=[]))
        drawn.hatched.append(
            {"x": round(x, 1), "y": at - 3, "shape": hatching(width, BAR + 6, 5), "fill": SHEET}
        )
        drawn.words += room.first_free([words.stands], [(x + width / 2, at - 12)], group="strong")
    if shape.work:
        _work(calendar, year, words, shape, at, drawn, room)
    if year.frame is not None:
        _jobs(calendar, year, words, shape, top, drawn)


def _gap(left: float, right: float, word: str, at: float) -> list[tuple[float, float]]:
    """The middle of a gap that has room for the word."""
    return [((left + right) / 2, at + BAR / 2)] if right - left >= len(word) * CHARACTER else []


def _name(year: PressYear, shape: Shape, top: float, drawn: Drawn, room: Room) -> None:
    """The name, and with jobs the lock on black with the number of points to lock first."""
    most = 24 if shape.names_above else int((shape.left - 8) / CHARACTER)
    name = year.name if len(year.name) <= most else f"{year.name[: most - 1]}…"
    x = -shape.left + len(name) * CHARACTER / 2 + 2
    y = top + shape.bar_at + (2 if shape.due_rows else BAR / 2)
    if shape.names_above:
        y = top + 14
    drawn.words.append(("bold_from", name, 2 - shape.left, y))
    room.taken.append((-shape.left, y - 9, x + len(name) * CHARACTER / 2 + 4, y + 9))
    if year.frame is None:
        return
    points = str(year.frame.points or "?")
    width = 26 + len(points) * CHARACTER
    left = x + len(name) * CHARACTER / 2 + 8 if shape.names_above else -shape.left
    y = top + 4 if shape.names_above else top + shape.bar_at + 14
    box = f"M0,0L{width:g},0L{width:g},19L0,19Z"
    drawn.boxes.append({"x": round(left, 1), "y": y, "shape": box, "fill": INK})
    drawn.locks.append({"x": round(left + 4, 1), "y": y + 2, "shape": LOCK, "fill": SHEET})
    drawn.words.append(("locked", points, left + 20 + len(points) * CHARACTER / 2, y + 10))
    room.taken.append((left, y, left + width, y + 19))


def _crops(
    calendar: Calendar, campaigns: Sequence[Campaign], shape: Shape, at: float, room: Room
) -> Iterator[Word]:
    """The crop in its bar where the bar is long enough, once at least above it where it is not."""
    named = set()
    places = [
        (_x(calendar, shape, one.end) - _x(calendar, shape, one.start), one.crop, one) for one in campaigns
    ]
    for width, crop, one in sorted(places, key=lambda place: -place[0]):
        middle = _x(calendar, shape, one.start) + width / 2
        if width >= len(crop) * CHARACTER:
            named.add(crop)
            yield "words", crop, middle, at + BAR / 2
        elif shape.work and crop not in named:
            for word in room.first_free([crop], [(middle, at - 10)]):
                named.add(crop)
                yield word


def _work(
    calendar: Calendar,
    year: PressYear,
    words: CalendarWords,
    shape: Shape,
    at: float,
    drawn: Drawn,
    room: Room,
) -> None:
    """Triangles above the bars, the latest first, with their word on a desk."""
    marked: dict[float, str] = {}
    for row in reversed(year.work):
        x = _x(calendar, shape, row.done)
        if all(abs(x - other) >= APART for other in marked):
            marked[x] = words.work[row.action]
            drawn.marks.append({"x": round(x, 1), "y": at - 7, "shape": "triangle-down", "fill": INK})
            room.taken.append((x - 7, at - 14, x + 7, at))
    for x, word in sorted(marked.items()) if not shape.names_above else ():
        drawn.words += _word_beside(room, word, x, at - 9, shape)


def _jobs(
    calendar: Calendar, year: PressYear, words: CalendarWords, shape: Shape, top: float, drawn: Drawn
) -> None:
    """The jobs of the press's frame under its bars, the most urgent first, as many as have room."""
    frame = year.frame
    assert frame is not None
    room = Room(-shape.left, shape.width + RIGHT)
    for number, own in enumerate(frame.jobs):
        job = frame.demand(own)
        x = _x(calendar, shape, due_at(calendar, job))
        heights = [top + row for row in shape.due_rows]
        free = [y for y in heights if room.is_free((x - APART / 2, y - 7, x + APART / 2, y + 7))]
        if not free:
            continue
        y = free[0]
        form, fill = MARKS[job.state]
        drawn.marks.append({"x": round(x, 1), "y": y, "shape": form, "fill": fill})
        room.taken.append((x - 7, y - 8, x + 7, y + 8))
        if y == heights[0]:
            drawn.rows.append(rule(x, top + shape.bar_at + BAR, x, y - 6, width=1))
        for word in words.jobs[year.press_id, number]:
            found = list(_word_beside(room, word, x, y, shape))
            if found:
                drawn.words += found
                break


def _word_beside(room: Room, word: str, x: float, y: float, shape: Shape) -> Iterator[Word]:
    """To the right of a mark, else to its left; nowhere where something is in the way, or where the picture
    ends before the word does."""
    half = len(word) * CHARACTER / 2
    for group, middle, begin in (("from", x + 13 + half, x + 11), ("to", x - 13 - half, x - 11)):
        inside = middle + half <= shape.width + RIGHT - 2 and middle - half >= 2 - shape.left
        if inside and room.take(word, middle, y) is not None:
            yield group, word, begin, y
            return


def due_at(calendar: Calendar, job: DueItem) -> float:
    """The middle of the day on which the job is due, today without one."""
    if job.due_on is None:
        return calendar.today
    return (job.due_on.toordinal() - date(1970, 1, 1).toordinal() + 0.5) * DAY_S


def _around(calendar: Calendar, words: CalendarWords, shape: Shape, height: float) -> Iterator[Word]:
    """Today and the months above, where the mill stands below; below too in small."""
    room = Room(-shape.left, shape.width + RIGHT)
    x = _x(calendar, shape, calendar.today)
    y = -14.0 if shape.work else height + 10
    yield from room.first_free([words.today], [(x, y)], group="strong")
    for start, end in calendar.idle if shape.work else ():
        left, right = _x(calendar, shape, start), _x(calendar, shape, end)
        yield from room.first_free([words.idle], [((left + right) / 2, height + 10)])
    for at, word in words.ticks:
        half = len(word) * CHARACTER / 2
        yield from room.first_free([word], [(_x(calendar, shape, at) + half + 3, y)], group="soft")
