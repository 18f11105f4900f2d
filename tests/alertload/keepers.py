"""Invented people: when their mail comes, when they read it, what they answer, and when they drive out."""

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from alertload.world import HOUR, ZONE
from swapbell_host.jobs.quiet import Quiet, waking

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Habits:
    """How reliable a person is.

    Attributes
    ----------
    busy
        How often a message is read only half a day later.
    forgets
        How often a notice that was read is not acknowledged.
    stays
        On how many days nobody drives out.
    hurries
        How often somebody who reads that toxic bait is left out drives out for it within hours.
    """

    busy: float = 0.15
    forgets: float = 0.3
    stays: float = 0.12
    hurries: float = 0.6


@dataclass(slots=True, eq=False)
class Keeper:
    """A person with an address that may fail.

    Attributes
    ----------
    dead
        When the mail server takes nothing.
    todo
        The stations of which this one has read something.
    """

    name: str
    rng: random.Random
    quiet: Quiet | None
    habits: Habits = field(default_factory=Habits)
    dead: list[tuple[datetime, datetime]] = field(default_factory=list[tuple[datetime, datetime]])
    todo: set[str] = field(default_factory=set[str])
    unread: list[tuple[datetime, tuple[tuple[int, str], ...]]] = field(
        default_factory=list[tuple[datetime, tuple[tuple[int, str], ...]]]
    )

    def is_reached(self, at: datetime) -> bool:
        """Tell whether the mail server takes a message."""
        return not any(begin <= at < end for begin, end in self.dead)

    def receive(self, notices: tuple[tuple[int, str], ...], at: datetime) -> None:
        """Lay a message beside the others, to be read when there is time."""
        delay = self.rng.lognormvariate(3.7, 0.8) * MINUTE  # half of them within 40 min
        if self.rng.random() < self.habits.busy:
            delay = self.rng.uniform(5.0, 20.0) * HOUR
        self.unread.append((waking(self.quiet, at, delay, ZONE), notices))

    def read(self, at: datetime) -> list[int]:
        """Read what there was time for; return the notices to acknowledge."""
        now = [notices for read_at, notices in self.unread if read_at <= at]
        self.unread = [each for each in self.unread if each[0] > at]
        self.todo |= {station for notices in now for _, station in notices}
        return [number for notices in now for number, _ in notices if self.rng.random() >= self.habits.forgets]
