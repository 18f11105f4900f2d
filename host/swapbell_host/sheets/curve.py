"""A station's season as a picture: visits day by day, what was watched of each day, phases and swaps.

A day on which counts were expected and nobody watched is hatched, so that no gap looks like a quiet day.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from itertools import chain, count
from typing import Literal
from zoneinfo import ZoneInfo

from reportlab.graphics.shapes import Drawing, Line, Polygon, Shape, String
from reportlab.lib.colors import Color, black, white
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from swapbell_host.jobs.entry import Act
from swapbell_host.sheets.lettering import BOLD, PLAIN
from swapbell_host.sheets.season import DAY, Course, Day

# Our choice: wide as the page; bars high enough to compare, and below them a strip for what was watched.
BARS, STRIP, TOP, BELOW, LEFT, RIGHT = 32 * mm, 6 * mm, 11 * mm, 9 * mm, 14 * mm, 3 * mm
HEIGHT = TOP + BARS + 2 * mm + STRIP + BELOW
INK_PT, HATCH_PT, NEAR_PT = 6.5, 3.0, 9.0
GREY, PALE = Color(0.35, 0.35, 0.35), Color(0.86, 0.86, 0.86)
TICKS = 4
DAYS_PER_WEEK = 7
# Our choice: the acts that a reader looks for, by a letter each.
LETTERS = {Act.SWAPPED: "S", Act.REBAITED: "S", Act.WITHDRAWN: "W", Act.LOST: "L", Act.RELURED: "R"}
UNDER = (
    "Bars: visits per watched foraging hour, day by day; hatched: counts were expected and nobody watched; strip: "
    "share of the foraging hours that was watched. S toxic bait put out, W taken in, L lost, R fresh lure again."
)


class _Frame:
    """Where days and rates lie on the paper."""

    def __init__(self, days: Sequence[Day], width: float) -> None:
        self.first, self.number = days[0].on, len(days)
        self.wide = (width - LEFT - RIGHT) / self.number
        self.right = width - RIGHT
        self.base = BELOW + STRIP + 2 * mm
        rates = [day.per_h for day in days if day.per_h is not None]
        self.top = scale_top(max(rates, default=0.0))

    def x(self, on: date) -> float:
        """Return where a day begins [pt]."""
        return LEFT + (on - self.first).days * self.wide

    def moment(self, at: datetime, zone: ZoneInfo) -> float:
        """Return where a moment lies [pt], within the picture."""
        local = at.astimezone(zone)
        part = (local.hour + local.minute / 60.0) / 24.0
        return min(max(self.x(local.date()) + part * self.wide, LEFT), self.right)

    def y(self, per_h: float) -> float:
        """Return where a rate lies [pt]."""
        return self.base + per_h / self.top * BARS


def curve(course: Course, zone: ZoneInfo, width: float) -> Drawing:
    """Return the picture of one station's days, at least one."""
    frame = _Frame(course.days, width)
    drawing = Drawing(width, HEIGHT)
    parts = (_gaps(course, frame), _scale(frame, width), _bars(course, frame), _strip(course, frame))
    for part in chain(*parts, _calendar(course, frame), _phases(course, frame, zone), _marks(course, frame, zone)):
        drawing.add(part)
    return drawing


def scale_top(most: float) -> float:
    """Return the round number at the top of a scale that holds a value: 1, 2, 4 or 8 times a power of ten."""
    return next(top for power in count() for step in (1.0, 2.0, 4.0, 8.0) if (top := step * 10.0**power) >= most)


def _box(left: float, low: float, right: float, high: float, ink: Color, edge: Color | None = None) -> Polygon:
    corners = [left, low, right, low, right, high, left, high]
    return Polygon(corners, fillColor=ink, strokeColor=edge, strokeWidth=0.4 if edge else 0.0)


def _word(
    x: float, y: float, text: str, anchor: Literal["start", "middle", "end"] = "start", face: str = PLAIN
) -> String:
    return String(x, y, text, fontName=face, fontSize=INK_PT, fillColor=black, textAnchor=anchor)


def _gaps(course: Course, frame: _Frame) -> Iterator[Shape]:
    for first, last in course.gaps():
        left, right = frame.x(first), frame.x(last + DAY)
        yield _box(left, frame.base, right, frame.base + BARS, PALE)
        at = left
        while at < right:
            end = min(at + HATCH_PT, right)
            yield Line(at, frame.base, end, frame.base + BARS, strokeColor=GREY, strokeWidth=0.3)
            at += HATCH_PT


def _bars(course: Course, frame: _Frame) -> Iterator[Shape]:
    for day in course.days:
        if day.per_h:
            left = frame.x(day.on)
            yield _box(left + frame.wide * 0.1, frame.base, left + frame.wide * 0.9, frame.y(day.per_h), black)
        elif day.per_h is not None:  # watched, and nothing came: a line says so, where a gap says nothing
            left = frame.x(day.on)
            yield Line(left, frame.base, left + frame.wide, frame.base, strokeColor=black, strokeWidth=1.6)


def _strip(course: Course, frame: _Frame) -> Iterator[Shape]:
    yield _box(LEFT, BELOW, frame.right, BELOW + STRIP, white, GREY)
    for day in course.days:
        if day.share:
            left = frame.x(day.on)
            yield _box(left, BELOW, left + frame.wide, BELOW + STRIP * day.share, GREY)
    yield _word(LEFT - 2, BELOW + 4, "watched", "end")


def _scale(frame: _Frame, width: float) -> Iterator[Shape]:
    for step in range(TICKS + 1):
        rate = frame.top * step / TICKS
        yield Line(LEFT, frame.y(rate), width - RIGHT, frame.y(rate), strokeColor=GREY, strokeWidth=0.25)
        yield _word(LEFT - 2, frame.y(rate) - 2, f"{rate:g}", "end")
    yield _word(LEFT - 2, frame.y(frame.top) + 7, "visits/h", "end")


def _calendar(course: Course, frame: _Frame) -> Iterator[Shape]:
    """Yield a mark and a date for each day; for each Monday or first of a month where days or weeks run together."""
    room = stringWidth("00-00", PLAIN, INK_PT) + 3.0
    marked = [day.on for day in course.days if _is_marked(day.on, room / frame.wide)]
    for on in marked:
        yield Line(frame.x(on), BELOW, frame.x(on), BELOW - 3, strokeColor=black, strokeWidth=0.5)
        if frame.x(on) + room < frame.right:
            yield _word(frame.x(on), BELOW - 10, f"{on:%m-%d}")
    if len(marked) == 1:  # one day: it begins here and ends there
        yield _word(frame.right, BELOW - 10, f"{course.days[-1].on + DAY:%m-%d}", "end")


def _is_marked(on: date, days: float) -> bool:
    """Tell whether a day is marked, given how many days the room for a date takes."""
    if days <= 1.0:
        return True
    return on.weekday() == 0 if days <= DAYS_PER_WEEK else on.day == 1


def _phases(course: Course, frame: _Frame, zone: ZoneInfo) -> Iterator[Shape]:
    """Yield a bar above the days for each phase, with its name where there is room."""
    low = frame.base + BARS + 3 * mm
    for each in course.stages:
        left, right = frame.moment(each.from_at, zone), frame.moment(each.to_at, zone)
        if right <= left:
            continue
        yield _box(left, low, right, low + 9, white, black)
        if stringWidth(each.phase.value, PLAIN, INK_PT) + 2 < right - left:
            yield _word(left + 1.5, low + 2.5, each.phase.value)


def _marks(course: Course, frame: _Frame, zone: ZoneInfo) -> Iterator[Shape]:
    """Yield a line for each act that a reader looks for; the letters of those close together share a place."""
    marks = [(frame.moment(each.at, zone), LETTERS[each.act]) for each in course.entries if each.act in LETTERS]
    top = frame.base + BARS + 3 * mm
    for x, _ in marks:
        yield Line(x, frame.base, x, top, strokeColor=black, strokeWidth=0.8)
    while marks:
        near = [mark for mark in marks if mark[0] - marks[0][0] < NEAR_PT]
        yield _word(near[0][0], top + 11, "".join(letter for _, letter in near), "middle", BOLD)
        marks = marks[len(near) :]
