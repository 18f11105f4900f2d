"""Telling people: what the policy finds due is written down, sent, and tried again until the address takes it.

A telling is in the ledger before it is sent, and counts as told once the person's address has taken it. A host that
dies in between tells it again when it comes back: in doubt twice rather than never. Nothing here waits for a channel:
couriers send, and the caller's loop, by `advance`, learns what became of it.
"""

from collections.abc import Callable, Generator, Iterable
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Self

from swapbell_host.alerting import letter
from swapbell_host.alerting.channel import Channel, channel
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_host.alerting.outbox import Notices, OpenNotice, Tellings, Told, Waiting, Why
from swapbell_host.alerting.people import HERE, People
from swapbell_host.alerting.policy import Case, Due, cases, due
from swapbell_host.alerting.posting import posts
from swapbell_host.alerting.schedule import FLAPPING, GATHER, GATHER_LOOK, REMEMBERED, SWAPS, nth
from swapbell_models.message import NoticeMessage
from swapbell_models.notice import Notice, NoticeKind

# Our choice: a link or a mail server is usually back within minutes; one that is not is not pestered.
RETRY_AFTER = (timedelta(minutes=1), timedelta(minutes=5), timedelta(minutes=15), timedelta(hours=1))
# Our choice: what another program acknowledges, shelves or plans is noticed as soon; a call waits longer anyway.
LOOK_EVERY = timedelta(seconds=5)


@dataclass(slots=True)
class Outlet:
    """Where the alerts send and say what they have.

    Attributes
    ----------
    people : callable
        Returns who is told, as of a moment.
    say : callable
        Prints and publishes a notice where the host runs: as it is raised, and with each telling again.
    report : callable
        Takes one line on an address that fails, or works again.
    channel : callable
        Returns the way to a URL; refuses one that cannot be sent to with ValueError.
    page : str, optional
        Where people open the host's page.
    visited : callable
        Tells of a site's station whether somebody saw others than wasps at its lure, whatever was answered since.
    """

    people: Callable[[datetime], People]
    say: Callable[[Notice, NoticeMessage], None]
    report: Callable[[str], None]
    courier: Courier = field(default_factory=Courier)
    channel: Callable[[str], Channel] = channel
    page: str | None = None
    visited: Callable[[str, str], bool] = lambda _site, _station: False


class Alerts:
    """What the host's loop hands its notices to.

    Parameters
    ----------
    notices, tellings
        Where they are kept.
    outlet : Outlet
        Whom they reach, and how.
    """

    def __init__(self, notices: Notices, tellings: Tellings, outlet: Outlet) -> None:
        self._notices, self._tellings, self._outlet = notices, tellings, outlet
        self._channels: dict[str, Channel] = {}
        self._failing: set[str] = set()
        self._waiting: list[Waiting] = []
        self._cases: dict[int, Case] = {}
        self._looked_at: datetime | None = None

    @property
    def underway(self) -> frozenset[str]:
        """Return to whom a message is on its way."""
        return self._outlet.courier.underway

    def tell(self, notice: Notice, at: datetime) -> bool:
        """Write a notice down, and say it where the host runs; False, and nothing happens, if it is already there."""
        raised = self._notices.raise_notice(notice, at)
        if raised is not None:
            self._looked_at = None
            self._outlet.say(notice, _message(raised, at))
        return raised is not None

    def advance(self, at: datetime) -> None:
        """Do what is due at `at` (aware UTC), without waiting: call it each second or so, and once at the start."""
        self._collect(at)
        if self._looked_at is None or not timedelta() <= at - self._looked_at < LOOK_EVERY:
            self._look(at)
        for waiting in self._waiting:
            if _is_due(waiting, at) and waiting.person not in self.underway:
                self._send(waiting, at)

    @contextmanager
    def sending(self, now: Callable[[], datetime]) -> Generator[Self]:
        """Give what is being sent a moment to arrive at the end; what does not is told by the next run."""
        try:
            yield self
        finally:
            self._outlet.courier.close()
            self._collect(now())

    def _look(self, at: datetime) -> None:
        """Let the policy decide, write down what it decides, and see what waits."""
        people, told = self._outlet.people(at), self._tellings.told(at - REMEMBERED)
        found = cases(self._notices.open_notices(), self._notices.spells(at - FLAPPING), told, people.watchers, at)
        self._cases = _known(found, told)
        busy = self.underway
        dues = [each for case in found for each in due(case, at) if each.person.name not in busy]
        waits = frozenset(each.person for each in self._tellings.waiting())
        for post in posts(dues, told, waits, at):
            self._put(post.person, post.dues, at)
        self._waiting, self._looked_at = self._tellings.waiting(), at

    def _put(self, person: str, dues: tuple[Due, ...], at: datetime) -> None:
        whys = {each.case.entry.id: each.why for each in dues}
        gather = GATHER if any(each.case.course.call for each in dues) else GATHER_LOOK
        self._tellings.put(person, whys, at, at if person == HERE.name else at + gather)
        for each in dues:
            if each.why is not Why.FIRST:
                self._outlet.say(each.case.entry.notice, _message(each.case.entry, at))

    def _send(self, waiting: Waiting, at: datetime) -> None:
        """Hand over what is still worth telling of a message; in quiet hours only with what breaks them."""
        found = {number: self._still_due(number, why, waiting.person, at) for number, why in waiting.whys.items()}
        if moot := [number for number, each in found.items() if each is None]:
            self._tellings.leave_out(waiting.id, moot)
            self._looked_at = None
        dues = [each for each in found.values() if each]
        if all(each.hushed(at) for each in dues):
            return
        lines = [self._line(each) for each in dues]
        errand = Errand(waiting.id, waiting.person, letter.title(lines), letter.body(lines, self._outlet.page), at)
        if waiting.person == HERE.name:
            errand.taken = True
            self._delivered(errand, at)
        elif way := self._channel(waiting.person, at):
            self._outlet.courier.carry(errand, way)
        else:
            self._failed(errand, at)

    def _still_due(self, notice_id: int, why: Why, name: str, at: datetime) -> Due | None:
        """Return a notice of a message, if it is still to be told, to somebody who still is to be told of it."""
        case = self._cases.get(notice_id)
        if case is None or case.entry.shelved(at):
            return None
        named = (each for each in (*case.watchers.first, *case.watchers.behind) if each.name == name)
        person = next(named, None)
        return Due(person, case, why) if person else None

    def _line(self, each: Due) -> letter.Line:
        case = each.case
        return letter.Line(case.entry, each.why, case.watchers.zone, case.flaps, self._is_warned(case.entry))

    def _is_warned(self, entry: OpenNotice) -> bool:
        """Tell whether a swap is called for where visitors were warned of, or seen, who may be no wasps."""
        if entry.notice.kind not in SWAPS:
            return False
        warning = (*entry.key[:2], NoticeKind.VISITORS)
        is_open = any(case.entry.key == warning for case in self._cases.values())
        return is_open or self._outlet.visited(entry.notice.site, entry.notice.station)

    def _channel(self, person: str, at: datetime) -> Channel | None:
        """Return the way to a person; nothing if there is none, which is told as a failure."""
        url = self._outlet.people(at).url(person)
        if url is None:
            return None
        if url not in self._channels:
            try:
                self._channels[url] = self._outlet.channel(url)
            except ValueError:
                return None
        return self._channels[url]

    def _collect(self, at: datetime) -> None:
        for errand in self._outlet.courier.back(at):
            if errand.taken:
                self._delivered(errand, at)
            else:
                self._failed(errand, at)

    def _delivered(self, errand: Errand, at: datetime) -> None:
        self._looked_at = None
        self._tellings.taken(errand.telling_id, at)
        if errand.person in self._failing:
            self._failing.remove(errand.person)
            self._outlet.report(f"{self._outlet.people(at).shown(errand.person)} works again")

    def _failed(self, errand: Errand, at: datetime) -> None:
        self._looked_at = None
        tries = next((each.tries for each in self._waiting if each.id == errand.telling_id), 0)
        self._tellings.failed(errand.telling_id, at + nth(RETRY_AFTER, tries + 1))
        if errand.person not in self._failing:
            self._failing.add(errand.person)
            shown = self._outlet.people(at).shown(errand.person)
            self._outlet.report(f"{shown} did not take a message; it is kept and tried again")


def _is_due(waiting: Waiting, at: datetime) -> bool:
    """Tell whether a message is to be tried; one that waits for longer than any was put there by a wrong clock."""
    return not at < waiting.due_at <= at + RETRY_AFTER[-1]


def _known(found: Iterable[Case], told: Iterable[Told]) -> dict[int, Case]:
    """Return what may be told, by the number of its notice; of what comes and goes, by that of any of its spells."""
    flapping = {each.entry.key: each for each in found if each.flaps}
    spells = {word.notice_id: flapping[word.key] for word in told if word.key in flapping}
    return spells | {each.entry.id: each for each in found}


def _message(entry: OpenNotice, at: datetime) -> NoticeMessage:
    told = entry.notice
    return NoticeMessage(
        id=entry.id,
        station=told.station,
        kind=told.kind.value,
        urgency=told.urgency.value,
        raised_at=told.raised_at,
        told_at=at,
        times_told=entry.times_told + 1,
        text=told.text,
    )
