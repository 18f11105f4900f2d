"""Evidence of a count: pictures of crossings and minutes of film, how each is named, and how it is asked for.

An item's name tells all that a list needs to know of it, so that a folder of files explains itself: its place in the
order of making, what it is, whose, which start of the counter, how long after that start, and when; of a strip also
which crossing of that start it shows. Crossings are numbered whether or not there is a strip of them: a number that
is missing between two strips was left out.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated

import msgspec
from msgspec import Meta

from swapbell_models.sizes import SizeClass
from swapbell_models.tally import AwareDatetime, Direction, Name

Count = Annotated[int, Meta(ge=0)]
# One part of a path and nothing that leads out of its folder; our choice of length: a file system takes 255 bytes.
PartName = Annotated[str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+)*$", max_length=240)]
MILLI = 1e-3
TENTH = 0.1
STAMP = "%Y%m%dT%H%M%SZ"
FREE = "free"
_WORD = r"[A-Za-z0-9][\w-]*"
_NAME = re.compile(
    rf"(\d{{8,}})\.(clip|strip)\.({_WORD})\.({_WORD})\.(\d+)ms\.({FREE}|\d{{8}}T\d{{6}}Z)"
    r"(?:\.(\d+)\.(in|out)\.(small|wasp|large)\.(\d+)-(\d)mm)?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Passing:
    """The crossing that a strip shows: its number among those of its start, from 1, and what was counted."""

    number: int
    direction: Direction
    size: SizeClass
    length_mm: float


@dataclass(frozen=True, slots=True)
class Label:
    """What an item's name says.

    Attributes
    ----------
    order
        Its place in the order of making, which no clock disturbs.
    up_s
        Seconds since that start of the counter, to the millisecond: of the passing, or of the minute's beginning [s].
    at
        The same as a time of day, aware UTC, to the second; nothing if the counter did not know it.
    passing
        What a strip shows; nothing for a clip.
    """

    order: int
    station: str
    boot: str
    up_s: float
    at: datetime | None
    passing: Passing | None = None

    @property
    def name(self) -> str:
        """The item's name."""
        when = FREE if self.at is None else f"{self.at.astimezone(UTC):{STAMP}}"
        kind = "clip" if self.passing is None else "strip"
        parts = [f"{self.order:08d}", kind, self.station, self.boot, f"{round(self.up_s / MILLI)}ms", when]
        if self.passing is not None:
            seen = self.passing
            whole, tenths = divmod(round(seen.length_mm / TENTH), 10)
            parts += [f"{seen.number}", seen.direction.value, seen.size.value, f"{whole}-{tenths}mm"]
        return ".".join(parts)


def label(name: str) -> Label:
    """Return what a name says.

    Raises
    ------
    ValueError
        If it is no item's name.
    """
    found = _NAME.fullmatch(name)
    if found is None or (found[2] == "strip") is (found[7] is None):
        raise ValueError(f"{name!r} is no name of an item of evidence")
    at = None if found[6] == FREE else datetime.strptime(found[6], STAMP).replace(tzinfo=UTC)
    passing = None
    if found[7] is not None:
        length_mm = float(f"{found[10]}.{found[11]}")
        passing = Passing(int(found[7]), Direction(found[8]), SizeClass(found[9]), length_mm)
    return Label(int(found[1]), found[3], found[4], int(found[5]) * MILLI, at, passing)


def is_item(name: str) -> bool:
    """Tell whether a name is an item's."""
    try:
        label(name)
    except ValueError:
        return False
    return True


class Seek(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, tag_field="what", tag="items"):
    """Which items there are beyond one in their order; where their time is known, from one moment to another.

    Whatever has no known time is told too: nobody can say that it lies outside.
    """

    after: Count = 0
    from_at: AwareDatetime | None = None
    to_at: AwareDatetime | None = None

    def wants(self, found: Label) -> bool:
        """Tell whether an item is asked for."""
        if found.order <= self.after or found.at is None:
            return found.order > self.after
        return (self.from_at is None or found.at >= self.from_at) and (self.to_at is None or found.at < self.to_at)


class Want(msgspec.Struct, frozen=True, kw_only=True, tag_field="what", tag="piece"):
    """A file of an item, from a byte on."""

    item: PartName
    file: PartName
    offset: Count


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """Host to device: what somebody wants to see of its evidence. The answer carries the same `id`."""

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    id: Name
    wants: Seek | Want


class File(msgspec.Struct, frozen=True):
    """A file of an item, and its length [B]."""

    name: PartName
    size: Count


class Item(msgspec.Struct, frozen=True):
    """An item and its files."""

    name: PartName
    files: tuple[File, ...]

    @property
    def size(self) -> int:
        """What it holds [B]."""
        return sum(file.size for file in self.files)


class Found(msgspec.Struct, frozen=True, kw_only=True, tag_field="what", tag="items"):
    """Items in their order, as many as one message holds; `more` tells whether others come after them."""

    items: tuple[Item, ...]
    more: bool


class Piece(msgspec.Struct, frozen=True, kw_only=True, tag_field="what", tag="piece"):
    """Bytes of a file from `offset` on, as many as one message holds, and how long the whole file is [B]."""

    item: PartName
    file: PartName
    offset: Count
    size: Count
    data: bytes


class Refused(msgspec.Struct, frozen=True, kw_only=True, tag_field="what", tag="refused"):
    """There is no such thing, and why."""

    reason: str


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """Device to host: the answer to the question with that `id`."""

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    id: Name
    station: Name
    gives: Found | Piece | Refused


class Draw(msgspec.Struct, frozen=True, kw_only=True):
    """How a clip's minute was chosen: at random among the whole minutes of one of the equal parts of a day.

    Attributes
    ----------
    seed, day
        What the choice follows from, with the part; a day is a date, or a start of the counter where the time of day
        or the place is not known.
    part, parts
        Which part of that day, from 1, and how many there are.
    minute, minutes
        Which minute of the part, from 0, and how many there were to choose from.
    """

    seed: str
    day: str
    part: Count
    parts: Count
    minute: Count
    minutes: Count


class About(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a clip's folder says of itself.

    Attributes
    ----------
    up_s, at
        When the minute began: since that start of the counter [s], and as a time of day if that was known.
    seconds
        Length of the minute [s].
    first_s
        When the first frame was taken, from the beginning of the minute [s]; nothing without a frame.
    frames
        How many the video holds.
    left_out
        Why there is no video; nothing if there is one.
    """

    v: Annotated[int, Meta(ge=1, le=1)] = 1
    site: Name
    station: Name
    boot: Name
    up_s: float
    seconds: float
    draw: Draw
    at: AwareDatetime | None = None
    frames: Count = 0
    first_s: float | None = None
    left_out: str | None = None


# The files of a clip, one folder each: what is filmed, capture times as `count --times` reads them, the tallies of
# that minute as they were sent, the same crossings as `count --events` writes them, and where the gate lay.
ABOUT, TIMES, TALLIES, EVENTS, STATION = "about.json", "times.txt", "tallies.jsonl", "crossings.jsonl", "station.toml"
VIDEOS = ("clip.mp4", "clip.avi")
CLIP_FILES = (*VIDEOS, TIMES, TALLIES, EVENTS, STATION, ABOUT)
PICTURE = ".jpg"
MINUTE_S = 60.0
