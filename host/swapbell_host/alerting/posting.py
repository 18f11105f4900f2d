"""What goes into one message to one person, and whether it may go now. Pure: no clock, no disk, no network.

Calls go as soon as the day's spacing allows, what somebody put off goes at its time, and both take along whatever
else is due. All else goes with the day's round-up, of which there is one; it names no station named that day.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from swapbell_host.alerting.outbox import Told
from swapbell_host.alerting.policy import Due, Person
from swapbell_host.alerting.schedule import NIGHT, SPACING, course, may_round_up, nth


@dataclass(frozen=True, slots=True)
class Post:
    """What one person is to be told in one message."""

    person: str
    dues: tuple[Due, ...]


@dataclass(frozen=True, slots=True)
class _Day:
    """A person's day so far, by the clock of one site.

    Attributes
    ----------
    messages, last_at
        How many messages there were, and when the last one was.
    stations
        Those that were named.
    may_round_up
        Whether the day's round-up has still to come and may go out now.
    """

    messages: int
    last_at: datetime | None
    stations: frozenset[tuple[str, str]]
    may_round_up: bool


def posts(dues: Iterable[Due], told: Sequence[Told], waiting: frozenset[str], now: datetime) -> list[Post]:
    """Return the messages to begin, or to add to, at `now` (aware UTC).

    Parameters
    ----------
    dues
        Whatever is due.
    told
        What anybody was told within the last day or more.
    waiting
        For whom a message waits already: what is due joins it.
    """
    mine: dict[Person, list[Due]] = {}
    for each in dues:
        mine.setdefault(each.person, []).append(each)
    found = list[Post]()
    for person, theirs in mine.items():
        heard = [word for word in told if word.person == person.name]
        found.append(Post(person.name, _allowed(person, theirs, heard, person.name in waiting, now)))
    return [post for post in found if post.dues]


def _allowed(person: Person, dues: list[Due], heard: list[Told], joins: bool, now: datetime) -> tuple[Due, ...]:
    if person.quiet is None:
        return tuple(dues)
    days = {zone: _day(person, zone, heard, now) for zone in {each.case.watchers.zone for each in dues}}
    dated = [(each, days[each.case.watchers.zone]) for each in dues]
    calls = [each for each, day in dated if _calls(each) and (joins or _is_spaced(each, day, now))]
    looks = [(each, day) for each, day in dated if not _calls(each) and _is_fresh(each, day)]
    if calls or joins or any(day.may_round_up for _, day in looks):
        return (*calls, *(each for each, _ in looks))
    return ()


def _calls(each: Due) -> bool:
    """Tell whether it waits for no round-up: a call, or what somebody put off until now."""
    return each.case.course.call or each.asked


def _is_spaced(each: Due, day: _Day, now: datetime) -> bool:
    """Tell whether the person was left in peace for long enough, given how much there was to hear today."""
    if day.last_at is None or each.asked:
        return True
    urgent = each.case.course.any_hour or each.case.warns
    spacing = SPACING[0] if urgent else nth(SPACING, day.messages)
    return now >= day.last_at + spacing


def _is_fresh(each: Due, day: _Day) -> bool:
    """Tell whether the person has not heard of that station today."""
    return each.case.entry.key[:2] not in day.stations


def _day(person: Person, zone: ZoneInfo, heard: Iterable[Told], now: datetime) -> _Day:
    today = person.day(now, zone)
    words = [word for word in heard if person.day(_at(word), zone) == today]
    fits = may_round_up(now, person.quiet or NIGHT, zone)
    return _Day(
        messages=len({word.telling_id for word in words}),
        last_at=max(map(_at, words), default=None),
        stations=frozenset(word.key[:2] for word in words),
        may_round_up=fits and all(course(word.key[2]).call for word in words),
    )


def _at(word: Told) -> datetime:
    return word.taken_at or word.made_at
