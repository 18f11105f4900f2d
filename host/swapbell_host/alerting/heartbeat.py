"""The host's sign of life: so that somebody outside notices when it is dead, or there but not at work.

As long as all works, a URL of somebody else's is asked at a steady pace, and a person is told once a day; whoever
hears nothing knows that something is wrong. Where the host itself knows, it says so: that the broker is away, or the
ledger cannot be written. None of this passes the ledger's outbox, which may be what is broken.
"""

from collections.abc import Callable, Generator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from swapbell_host.alerting.channel import EVERY_MAX, channel
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_host.alerting.people import People
from swapbell_host.alerting.ping import Ping
from swapbell_host.alerting.schedule import NIGHT, day_of, may_round_up
from swapbell_host.config import AlertsSection
from swapbell_host.jobs.moment import by_clock, span
from swapbell_host.jobs.plan import shown
from swapbell_models.fault import Breakdown

# Our choice: a sign of life each minute costs a slow card nothing, and shows a dead host within minutes.
PULSE_EVERY = timedelta(minutes=1)
# Our choice: a broker that is started anew, or a copy being made of the ledger, takes minutes.
TROUBLE_AFTER = timedelta(minutes=10)
PING = "heartbeat"


class Pulses(Protocol):
    """Where the host notes that it is at work; every call returns only when it is on disk."""

    def beat(self, at: datetime, trouble: str | None) -> None:
        """Note that the host is there, and what keeps it from its whole work, if anything does."""
        ...

    def alive_told_at(self) -> datetime | None:
        """Return when it was last said that the host is alive; nothing if never."""
        ...

    def told_alive(self, at: datetime) -> None:
        """Note that it was said."""
        ...


@dataclass(slots=True)
class _Word:
    """What one person is still to be told."""

    text: str
    due_at: datetime


class Heartbeat:
    """Signs of life, as long as the program runs.

    Parameters
    ----------
    section : AlertsSection
        What the configuration says of alerts.
    report : callable
        Takes one line when the URL fails, or answers again.

    Raises
    ------
    ValueError
        If the configuration names no stretch of time.
    """

    def __init__(self, section: AlertsSection, report: Callable[[str], None]) -> None:
        self._section, self._report = section.heartbeat, report
        self._every = span("alerts.heartbeat: every", self._section.every, EVERY_MAX) if self._section else EVERY_MAX
        self._people, self._courier = People(section), Courier()
        self._pulse_at: datetime | None = None
        self._trouble: str | None = None
        self._ping_at: datetime | None = None
        self._trouble_since: datetime | None = None
        self._told_trouble = self._ping_fails = False
        self._words: dict[str, _Word] = {}

    @property
    def owing(self) -> bool:
        """Whether somebody is still to be told something."""
        return bool(self._words)

    def work(self, at: datetime, pulses: Pulses, people: Callable[[datetime], People], trouble: str | None) -> None:
        """Give the signs of life that are due at `at` (aware UTC), the ledger at hand; call it each second or so.

        Parameters
        ----------
        pulses, people
            Where it is noted, and what returns who there is.
        trouble
            What keeps the host from its whole work; nothing if all works.
        """
        if _has_passed(self._pulse_at, PULSE_EVERY, at) or trouble != self._trouble:
            pulses.beat(at, trouble)  # which fails where the ledger cannot be written: then no other sign is given
            self._pulse_at, self._trouble, self._people = at, trouble, people(at)
            if trouble is None:
                self._say_alive(at, pulses)
        self._note(at, trouble)
        if trouble is None:
            self._ping(at)
        self._carry(at)

    def suffer(self, at: datetime, trouble: str) -> None:
        """Note that the ledger cannot be used for now."""
        self._note(at, trouble)
        self._carry(at)

    @contextmanager
    def beating(self, now: Callable[[], datetime]) -> Generator[None]:
        """Say as a last word where the host gives up, and wait a moment for it to leave."""
        try:
            yield
        except Breakdown as error:
            self._say(now(), f"swapbell has stopped at {self._when(now())}: {error}", at_once=True)
            self._carry(now())
            self._courier.close()
            raise

    def _note(self, at: datetime, trouble: str | None) -> None:
        """Say that something has been wrong for a while, or that it is over."""
        if trouble is None:
            if self._told_trouble and self._words:
                self._words.clear()  # nobody has heard of it yet, so nobody need hear that it is over
            elif self._told_trouble:
                self._say(at, f"swapbell works again since {self._when(at)}.")
            self._trouble_since, self._told_trouble = None, False
            return
        self._trouble_since = self._trouble_since or at
        if not self._told_trouble and at - self._trouble_since >= TROUBLE_AFTER:
            self._told_trouble = True
            since = self._when(self._trouble_since)
            self._say(at, f"swapbell runs, but is not at work since {since}: {trouble}. No alert may come meanwhile.")

    def _ping(self, at: datetime) -> None:
        url = self._section.url if self._section else None
        if url and _has_passed(self._ping_at, self._every, at) and PING not in self._courier.underway:
            self._ping_at = at
            self._courier.carry(Errand(0, PING, "", "", at), Ping(url))

    def _say_alive(self, at: datetime, pulses: Pulses) -> None:
        """Tell once a day that all works, to whoever wants to hear it."""
        zone = self._people.zone
        if self._section is None or self._section.contact is None or not may_round_up(at, NIGHT, zone):
            return
        told_at = pulses.alive_told_at()
        if told_at is None or day_of(told_at, NIGHT, zone) != day_of(at, NIGHT, zone):
            pulses.told_alive(at)
            self._say(at, f"swapbell is at work, {self._when(at)}. If this does not come tomorrow, look after it.")

    def _say(self, at: datetime, text: str, *, at_once: bool = False) -> None:
        """Tell those who want to hear it, when their night has ended or at once."""
        named = [self._section.contact] if self._section and self._section.contact else []
        for person in named or [each.name for each in self._people.house]:
            self._words[person] = _Word(text, at if at_once else self._people.awake_at(person, at))

    def _carry(self, at: datetime) -> None:
        """See what became of what was sent, and send what is due."""
        for errand in self._courier.back(at):
            if errand.person == PING:
                self._answered(taken=bool(errand.taken))
            elif errand.taken and (word := self._words.get(errand.person)) and word.text == errand.body:
                del self._words[errand.person]
        for person, word in list(self._words.items()):
            if word.due_at <= at and person not in self._courier.underway:
                word.due_at = at + PULSE_EVERY
                self._hand_over(Errand(0, person, "swapbell: sign of life", word.text, at))

    def _hand_over(self, errand: Errand) -> None:
        try:
            self._courier.carry(errand, channel(self._people.url(errand.person) or ""))
        except ValueError:
            del self._words[errand.person]
            self._report(f"the heartbeat's contact {shown(errand.person)} has no address that can be sent to")

    def _answered(self, *, taken: bool) -> None:
        if taken is self._ping_fails:
            self._report("the heartbeat's URL answers again" if taken else "the heartbeat's URL does not answer")
        self._ping_fails = not taken

    def _when(self, at: datetime) -> str:
        return by_clock(at, self._people.zone)


def _has_passed(since_at: datetime | None, span: timedelta, at: datetime) -> bool:
    """Tell whether it is due again; a clock that was set back makes it due at once."""
    return since_at is None or not timedelta() <= at - since_at < span
