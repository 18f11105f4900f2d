"""Who is to be told of which notice now, and why. Pure: no clock, no disk, no network.

A station's own contacts are told first; whoever stands behind them is told where nobody answered in time, or where
nobody was reached. What a person acknowledged, shelved, or hears better from another notice is not told.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from swapbell_host.alerting.outbox import OpenNotice, Told, Why
from swapbell_host.alerting.schedule import (
    DAY,
    FLAPS,
    NIGHT,
    SWAPS,
    UNREACHED,
    UNREACHED_LOOK,
    WARNING,
    Course,
    course,
    day_of,
    nth,
)
from swapbell_host.jobs.quiet import Quiet, waking
from swapbell_models.notice import SUPERSEDES, NoticeKind

Key = tuple[str, str, NoticeKind]


@dataclass(frozen=True, slots=True)
class Person:
    """Who is told: a contact, or one of the host's own addresses.

    Attributes
    ----------
    quiet
        When this one is told nothing; nothing for who is no person, but wants everything at once.
    """

    name: str
    quiet: Quiet | None = NIGHT

    def day(self, at: datetime, zone: ZoneInfo) -> int:
        """Return the number of the person's day in which a moment lies."""
        return day_of(at, self.quiet or NIGHT, zone)


@dataclass(frozen=True, slots=True)
class Watchers:
    """Who is told of a station.

    Attributes
    ----------
    first, behind
        Who is told, and who where those do not answer.
    zone
        The site's, by which their hours are meant.
    """

    first: tuple[Person, ...]
    behind: tuple[Person, ...]
    zone: ZoneInfo


@dataclass(frozen=True, slots=True)
class Case:
    """A notice, and what was told of it.

    Attributes
    ----------
    told
        Of it; of any of its spells, where it comes and goes; and of the same call within the last day.
    flaps
        How many spells of its kind ended by themselves within the last day, where that is too many; else 0.
    before_swap
        Whether somebody is called to swap there, or was within the last day and may be on the way.
    """

    entry: OpenNotice
    watchers: Watchers
    told: tuple[Told, ...] = ()
    flaps: int = 0
    before_swap: bool = False

    @property
    def course(self) -> Course:
        """How it is told."""
        return WARNING if self.warns else course(self.entry.notice.kind)

    @property
    def warns(self) -> bool:
        """Whether it is a warning to somebody who may be on the way to swap."""
        return self.before_swap and self.entry.notice.kind is NoticeKind.VISITORS

    @property
    def anew(self) -> bool:
        """Whether it was raised anew: an earlier notice has said the same."""
        return any(word.notice_id != self.entry.id for word in self.told)


@dataclass(frozen=True, slots=True)
class Due:
    """One notice that one person is to be told of now.

    Attributes
    ----------
    asked
        Whether somebody put it off until now, and so asked to hear of it now.
    """

    person: Person
    case: Case
    why: Why
    asked: bool = False

    def hushed(self, now: datetime) -> bool:
        """Tell whether it waits for the end of the person's quiet hours."""
        quiet = self.person.quiet
        if quiet is None or (self.case.course.any_hour and self.why is not Why.AGAIN and not self.case.anew):
            return False
        return quiet.holds(now, self.case.watchers.zone)


def current(still_open: Sequence[OpenNotice]) -> list[OpenNotice]:
    """Return the open notices whose word no other open notice of the same station holds."""
    held = {about for entry in still_open for about in held_by(entry)}
    return [entry for entry in still_open if entry.key not in held]


def held_by(later: OpenNotice) -> set[Key]:
    """Return what the notice's word already holds."""
    site, station, kind = later.key
    return {(site, station, earlier) for earlier in SUPERSEDES.get(kind, ())}


def cases(
    still_open: Sequence[OpenNotice],
    ended: Sequence[OpenNotice],
    told: Sequence[Told],
    watchers: Callable[[str, str], Watchers],
    now: datetime,
) -> list[Case]:
    """Return every notice that may be told: what is open, and the last spell of what comes and goes.

    Parameters
    ----------
    still_open, ended
        The open notices, and those that ended by themselves within the last `schedule.FLAPPING`, oldest first.
    told
        What was told of any of them.
    watchers
        Returns who is told of a (site, station).
    now : datetime
        Aware UTC.
    """
    spells = Counter(entry.key for entry in ended if not course(entry.notice.kind).call)
    flaps = {key: times for key, times in spells.items() if times >= FLAPS}
    of_key = dict[Key, list[Told]]()
    for word in told:
        of_key.setdefault(word.key, []).append(word)
    openly = {entry.key: entry for entry in current(still_open)}
    last = {entry.key: entry for entry in ended if entry.key in flaps and entry.key not in openly}

    swaps = {entry.key[:2] for entry in still_open if entry.notice.kind in SWAPS}
    swaps |= {word.key[:2] for word in told if word.key[2] in SWAPS and now - word.made_at < DAY}

    def case(entry: OpenNotice) -> Case:
        words, times = of_key.get(entry.key, ()), flaps.get(entry.key, 0)
        own = tuple(word for word in words if times or word.notice_id == entry.id or _is_same_call(word, now))
        return Case(entry, watchers(*entry.key[:2]), own, times, entry.key[:2] in swaps)

    return [case(entry) for entry in (*openly.values(), *last.values())]


def due(case: Case, now: datetime) -> list[Due]:
    """Return who is to be told of a notice at `now` (aware UTC), and why, but for what else the same person hears."""
    if case.entry.shelved(now):
        return []
    found = [_due(case, person, now, Why.FIRST) for person in case.watchers.first]
    if _calls_behind(case, now):
        behind = [person for person in case.watchers.behind if person not in case.watchers.first]
        found += [_due(case, person, now, Why.BEHIND) for person in behind]
    return [each for each in found if each and not each.hushed(now)]


def _due(case: Case, person: Person, now: datetime, anew: Why) -> Due | None:
    mine = [each for each in case.told if each.person == person.name]
    if not mine:
        return Due(person, case, anew)
    last_at = max(mine, key=_number).taken_at
    if last_at is None:  # the last word still waits for this person
        return None
    asked = case.entry.shelved_until is not None and last_at < case.entry.shelved_until
    if asked or _is_due_again(case, last_at, len(mine), person, now):
        return Due(person, case, Why.AGAIN, asked)
    return None


def _is_due_again(case: Case, last_at: datetime, times: int, person: Person, now: datetime) -> bool:
    spans = case.course.again_after
    if case.course.behind_after is not None and not case.watchers.behind:
        spans = (case.course.behind_after, *spans)
    return bool(spans) and _passed(last_at, nth(spans, times), person, case.watchers.zone, now)


def _calls_behind(case: Case, now: datetime) -> bool:
    """Tell whether those who are told first have not answered in time, or were not reached."""
    for person in case.watchers.first:
        first = min((each for each in case.told if each.person == person.name), key=_number, default=None)
        if first is None:
            return False
        patience = UNREACHED if case.course.call else UNREACHED_LOOK
        if first.taken_at is not None:
            if case.course.behind_after is None:
                return False
            patience = case.course.behind_after
        caller = replace(person, quiet=None) if case.course.any_hour else person
        if not _passed(first.made_at, patience, caller, case.watchers.zone, now):
            return False
    return True


def _passed(since_at: datetime, span: timedelta, person: Person, zone: ZoneInfo, now: datetime) -> bool:
    if since_at - now > DAY:  # by a clock that was far ahead: nobody waits until it is right
        return True
    if span >= DAY:
        return person.day(now, zone) - person.day(since_at, zone) >= span.days
    return now >= waking(person.quiet, since_at, span, zone)


def _is_same_call(word: Told, now: datetime) -> bool:
    """Tell whether a call that is raised anew, because nobody did what it asked for, is a reminder of that word."""
    return course(word.key[2]).call and now - word.made_at < DAY


def _number(word: Told) -> int:
    """Return where a word stands in the order of tellings, whatever the clock showed."""
    return word.telling_id
