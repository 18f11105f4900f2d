"""The site's clock along a stretch of time: where it is set forward or back, and which moments are worth a label."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

# Zones lie whole quarters of an hour apart (IANA time zone database, all zones since 1972 but Liberia's first week).
QUARTER = timedelta(minutes=15)
# Our choice: beyond two days, hours are too many to be read.
BY_HOUR_MAX = timedelta(days=2)
# Our choice: as many labels as stand side by side on a phone held sideways.
DAYS_LABELLED = 8
_HOUR = timedelta(hours=1)
_EPOCH_AT = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Change:
    """A moment, aware UTC, at which the site's clock is set forward or back, and its names before and after."""

    at: datetime
    before: str
    after: str

    @property
    def words(self) -> str:
        """The change for a person."""
        return f"clock changes from {self.before} to {self.after}"


@dataclass(frozen=True, slots=True)
class Tick:
    """A moment, aware UTC, that is labelled on a plot."""

    at: datetime
    label: str


def changes(zone: ZoneInfo, from_at: datetime, to_at: datetime) -> list[Change]:
    """Return where the clock of a zone is changed between two moments, in time order."""
    found = list[Change]()
    at = from_at
    while at < to_at:
        next_at = min(at + timedelta(days=1), to_at)
        if at.astimezone(zone).utcoffset() != next_at.astimezone(zone).utcoffset():
            found.append(_between(zone, at, next_at))
        at = next_at
    return found


def names(zone: ZoneInfo, from_at: datetime, to_at: datetime) -> list[tuple[datetime, str]]:
    """Return what the clock of a zone is called between two moments: from when on, and its abbreviation."""
    first = from_at, from_at.astimezone(zone).tzname() or ""
    return [first, *((change.at, change.after) for change in changes(zone, from_at, to_at))]


def ticks(zone: ZoneInfo, from_at: datetime, to_at: datetime) -> list[Tick]:
    """Return the labelled moments of a plot: hours of one day or two, else days by the site's calendar."""
    if to_at - from_at <= BY_HOUR_MAX:
        return [Tick(at, f"{there:%H:%M}") for at, there in hours(zone, from_at, to_at) if there.hour % 3 == 0]
    found = days(zone, from_at, to_at)
    every = max(1, round(len(found) / DAYS_LABELLED))
    return [Tick(at, f"{there.day} {there:%b}") for at, there in found[::every]]


def said(at: datetime, zone: ZoneInfo) -> str:
    """Return a moment by the site's clock, with the zone's abbreviation."""
    there = at.astimezone(zone)
    return f"{there:%a} {there.day} {there:%b} {there:%H:%M} {there.tzname()}"


def hours(zone: ZoneInfo, from_at: datetime, to_at: datetime) -> Iterator[tuple[datetime, datetime]]:
    """Yield the full hours of a zone's clock between two moments, each with what the clock shows."""
    at = from_at + (_EPOCH_AT - from_at) % QUARTER
    while at < to_at:
        there = at.astimezone(zone)
        if there.minute == 0:
            yield at, there
            at += _HOUR - QUARTER
        at += QUARTER


def days(zone: ZoneInfo, from_at: datetime, to_at: datetime) -> list[tuple[datetime, datetime]]:
    """Return the first full hour of each day of a calendar that begins between two moments; some lack 00:00."""
    before = (from_at - timedelta(microseconds=1)).astimezone(zone).date()
    found = list[tuple[datetime, datetime]]()
    for at, there in hours(zone, from_at, to_at):
        if there.date() != before:
            found.append((at, there))
        before = there.date()
    return found


def _between(zone: ZoneInfo, low_at: datetime, high_at: datetime) -> Change:
    """Return the one change between two moments whose offsets differ."""
    before = low_at.astimezone(zone)
    while high_at - low_at > timedelta(seconds=1):
        middle_at = low_at + (high_at - low_at) / 2
        if middle_at.astimezone(zone).utcoffset() == before.utcoffset():
            low_at = middle_at
        else:
            high_at = middle_at
    at = high_at.replace(microsecond=0)
    return Change(at, before.tzname() or "", high_at.astimezone(zone).tzname() or "")
