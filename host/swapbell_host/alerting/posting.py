"""What goes into one message to one person, and whether it may go now. Pure: no clock, no disk, no network.

Calls go as soon as the day's spacing allows, and take along whatever else is due. What is no call goes with the day's
round-up, of which there is one a day; it names no station of which the person has already heard that day.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.alerting.outbox import Told
from swapbell_host.alerting.policy import Due
from swapbell_host.alerting.schedule import NIGHT, SPACING, course, may_round_up, nth


@dataclass(frozen=True, slots=True)
class Post:
    """What one person is to be told in one message."""

    person: str
    dues: tuple[Due, ...]


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
    mine: dict[str, list[Due]] = {}
    for each in dues:
        mine.setdefault(each.person.name, []).append(each)
    heard: dict[str, list[Told]] = {name: [] for name in mine}
    for word in told:
        if word.person in heard:
            heard[word.person].append(word)
    made = (Post(name, _allowed(mine[name], heard[name], name in waiting, now)) for name in mine)
    return [post for post in made if post.dues]


def _allowed(dues: Sequence[Due], heard: Sequence[Told], joins: bool, now: datetime) -> tuple[Due, ...]:
    if any(each.person.quiet is None for each in dues):
        return tuple(dues)
    calls = [each for each in dues if each.case.course.call and (joins or _is_spaced(each, heard, now))]
    looks = [each for each in dues if not each.case.course.call and _is_fresh(each, heard, now)]
    if calls or joins or any(_may_begin(each, heard, now) for each in looks):
        return (*calls, *looks)
    return ()


def _is_spaced(each: Due, heard: Sequence[Told], now: datetime) -> bool:
    """Tell whether the person was left in peace for long enough, given how much there was to hear today."""
    sent_at = {word.telling_id: _at(word) for word in _today(each, heard, now)}
    if not sent_at:
        return True
    spacing = SPACING[0] if each.case.course.any_hour else nth(SPACING, len(sent_at))
    return now >= max(sent_at.values()) + spacing


def _is_fresh(each: Due, heard: Sequence[Told], now: datetime) -> bool:
    """Tell whether the person has not heard of that station today."""
    station = each.case.entry.key[:2]
    return all(word.key[:2] != station for word in _today(each, heard, now))


def _may_begin(each: Due, heard: Sequence[Told], now: datetime) -> bool:
    """Tell whether the day's round-up has still to come and may go out now."""
    fits = may_round_up(now, each.person.quiet or NIGHT, each.case.watchers.zone)
    return fits and all(course(word.key[2]).call for word in _today(each, heard, now))


def _today(each: Due, heard: Iterable[Told], now: datetime) -> list[Told]:
    """Return what the person has heard on the day that it is for this one."""
    day, zone = each.person.day, each.case.watchers.zone
    today = day(now, zone)
    return [word for word in heard if day(_at(word), zone) == today]


def _at(word: Told) -> datetime:
    return word.taken_at or word.made_at
