"""Telling people: each notice is written down before it is told, and repeated until it is acknowledged.

A notice counts as told once a channel has taken it, or, without channels, once it was said where the host runs. A
host that dies in between tells it again when it comes back: in doubt twice rather than never. Nothing here waits for
a channel: one thread sends, and the caller's loop, by `advance`, learns what became of it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from swapbell_host.alerting.channel import Channel
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_models.fault import Mistake
from swapbell_models.message import NoticeMessage
from swapbell_models.notice import SUPERSEDES, Notice, NoticeKind

# Our choice: a person who missed the first call is likely back within the hour; then as often as a foraging day has
# thirds, so that nobody learns to look away.
REPEAT_AFTER_S = (900.0, 3600.0, 14400.0)
# Our choice: a link or a mail server is usually back within minutes.
RETRY_AFTER_S = (60.0, 300.0, 900.0)


@dataclass(frozen=True, slots=True)
class OpenNotice:
    """A notice that nobody has acknowledged yet, of something that has not ended by itself.

    Attributes
    ----------
    id
        Its number in the ledger, which a person gives to acknowledge it.
    told_at, times_told
        When it was last told, aware UTC, nothing if never; and how often.
    """

    id: int
    notice: Notice
    told_at: datetime | None
    times_told: int


class Outbox(Protocol):
    """Where notices are kept, durably, before they are told; every call returns only when it is on disk."""

    def raise_notice(self, notice: Notice, at: datetime) -> bool:
        """Write the notice down; False if one with the same (site, station, kind, raised_at) is already there."""
        ...

    def open_notices(self) -> list[OpenNotice]:
        """Return every open notice of every station, oldest first."""
        ...

    def mark_told(self, notice_id: int, at: datetime) -> None:
        """Set when the notice was last told, and add one to how often."""
        ...

    def acknowledge(self, notice_id: int, at: datetime, by: str | None = None) -> bool:
        """Close the notice; False if there is no open one of that number."""
        ...


@dataclass(frozen=True, slots=True)
class Schedule:
    """How long to wait, each time a little longer; the last waiting time stays.

    Attributes
    ----------
    repeat_after_s
        Before an unacknowledged notice is told again [s].
    retry_after_s
        Before a channel that failed is tried again [s].
    """

    repeat_after_s: tuple[float, ...] = REPEAT_AFTER_S
    retry_after_s: tuple[float, ...] = RETRY_AFTER_S


class Alerts:
    """What the host's loop hands its notices to.

    Parameters
    ----------
    outbox : Outbox
        Where they are kept.
    channels : sequence of Channel
        Where they are sent; every channel gets every notice.
    say : callable
        Prints and publishes a notice where the host runs, with each telling.
    report : callable
        Takes one line on a channel that fails, or works again.
    """

    def __init__(
        self,
        outbox: Outbox,
        channels: Sequence[Channel],
        say: Callable[[Notice, NoticeMessage], None],
        report: Callable[[str], None],
        schedule: Schedule | None = None,
    ) -> None:
        self._outbox, self._channels, self._say, self._report = outbox, channels, say, report
        self._schedule = schedule or Schedule()
        self._errands: list[Errand] = []
        self._untold: set[int] = set()
        self._failing: set[str] = set()
        self._courier = Courier()

    @property
    def sending(self) -> bool:
        """Whether a channel is at work whose answer is still to come."""
        return any(errand.underway and errand.taken is None for errand in self._errands)

    def tell(self, notice: Notice, at: datetime) -> bool:
        """Write a notice down and begin to tell it; False, and nothing happens, if it is already there."""
        raised = self._outbox.raise_notice(notice, at)
        if raised:
            self.advance(at)
        return raised

    def advance(self, at: datetime) -> None:
        """Do what is due at `at` (aware UTC), without waiting: call it each second or so, and once at the start."""
        self._collect(at)
        wanted = current(self._outbox.open_notices())
        self._forget({entry.id for entry in wanted})
        for entry in wanted:
            if entry.id not in self._untold and _waited(entry, at, self._schedule):
                self._begin(entry, at)
        for errand in self._errands:
            if not errand.underway and errand.due_at <= at:
                self._courier.carry(errand)

    def close(self, at: datetime) -> None:
        """Give what is being sent a moment to arrive; what does not is told by the next run."""
        self._courier.close()
        self._collect(at)

    def _begin(self, entry: OpenNotice, at: datetime) -> None:
        self._say(entry.notice, _message(entry, at))
        self._errands = [errand for errand in self._errands if errand.notice_id != entry.id]
        self._errands += [Errand(entry.id, channel, title(entry), body(entry), at) for channel in self._channels]
        if self._channels:
            self._untold.add(entry.id)
        else:
            self._outbox.mark_told(entry.id, at)

    def _forget(self, all_but: set[int]) -> None:
        self._errands = [errand for errand in self._errands if errand.notice_id in all_but]
        self._untold &= all_but

    def _collect(self, at: datetime) -> None:
        for errand in self._errands.copy():
            if errand.taken:
                self._delivered(errand, at)
            elif errand.taken is False:
                self._failed(errand, at)

    def _delivered(self, errand: Errand, at: datetime) -> None:
        self._errands.remove(errand)
        if errand.notice_id in self._untold:
            self._untold.remove(errand.notice_id)
            self._outbox.mark_told(errand.notice_id, at)
        if errand.channel.name in self._failing:
            self._failing.remove(errand.channel.name)
            self._report(f"{errand.channel.name} works again")

    def _failed(self, errand: Errand, at: datetime) -> None:
        errand.fail(at + timedelta(seconds=_nth(self._schedule.retry_after_s, errand.failures + 1)))
        if errand.channel.name not in self._failing:
            self._failing.add(errand.channel.name)
            self._report(f"{errand.channel.name} did not take a notice; it is kept and tried again")


def current(still_open: Sequence[OpenNotice]) -> list[OpenNotice]:
    """Return the open notices whose word no other open notice of the same station holds."""
    held = {about for entry in still_open for about in _held(entry.notice)}
    return [entry for entry in still_open if _about(entry.notice) not in held]


def acknowledge(outbox: Outbox, notice_id: int, at: datetime, by: str | None = None) -> list[Notice]:
    """Close a notice and what it supersedes, and return them.

    Raises
    ------
    Mistake
        If no notice of that number is open.
    """
    still_open = outbox.open_notices()
    meant = next((entry.notice for entry in still_open if entry.id == notice_id), None)
    if meant is None:
        numbers = ", ".join(str(entry.id) for entry in still_open) or "none"
        raise Mistake(f"notice {notice_id} is not open; open are: {numbers}")
    closed = [entry for entry in still_open if entry.id == notice_id or _about(entry.notice) in _held(meant)]
    return [entry.notice for entry in closed if outbox.acknowledge(entry.id, at, by)]


def title(entry: OpenNotice) -> str:
    """Return the line above a telling."""
    again = f", reminder {entry.times_told}" if entry.times_told else ""
    return f"swapbell: {entry.notice.kind.value} at {entry.notice.site}/{entry.notice.station}{again}"


def body(entry: OpenNotice) -> str:
    """Return what is told: the notice, its age where it is a reminder, and how to end the reminders."""
    since = f"First told of {entry.notice.raised_at:%Y-%m-%d %H:%M} UTC. " if entry.times_told else ""
    return f"{since}{entry.notice.text}\nTo end the reminders: swapbell-host ack {entry.id}"


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


def _waited(entry: OpenNotice, at: datetime, schedule: Schedule) -> bool:
    if entry.told_at is None:
        return True
    return (at - entry.told_at).total_seconds() >= _nth(schedule.repeat_after_s, entry.times_told)


def _nth(waiting_s: Sequence[float], times: int) -> float:
    return waiting_s[min(max(times, 1), len(waiting_s)) - 1]


def _about(notice: Notice) -> tuple[str, str, NoticeKind]:
    return notice.site, notice.station, notice.kind


def _held(later: Notice) -> set[tuple[str, str, NoticeKind]]:
    """Return what the notice's word already holds, as `_about` names it."""
    return {(later.site, later.station, kind) for kind in SUPERSEDES.get(later.kind, ())}
