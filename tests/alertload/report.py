"""What came of a season: the notices, the words that arrived, and what is said of both."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from swapbell_host.alerting.outbox import Why
from swapbell_models.notice import NoticeKind


class Word(NamedTuple):
    """One notice in one message that arrived."""

    telling: int
    person: str
    notice: int
    station: str
    kind: NoticeKind
    why: Why
    at: datetime


@dataclass(slots=True)
class Event:
    """One notice: when it was raised, when it was over, and by when somebody had to know."""

    id: int
    station: str
    kind: NoticeKind
    raised_at: datetime
    closed_at: datetime
    by_at: datetime


@dataclass(slots=True)
class Report:
    """What came of a season.

    Attributes
    ----------
    days
        How long it was.
    raised, over, told
        Notices of each kind: all, those over before somebody had to know of them, and those told in time.
    missed
        Those that nobody was told of in time, in words.
    messages, busiest
        How many messages each person got, and how many on the worst day.
    escalations
        Why a station was named to a person once more on one day, where that is an escalation, and how often.
    besides
        Person, station and moment of each call to act on a day on which another matter was named: no escalation,
        but it cannot wait.
    repeats
        The same of each station that was named once more for any other reason.
    woken
        Person and moment of each message in quiet hours that holds nothing that may break them.
    waits_h
        How long each told notice waited for its first word [h], by kind.
    """

    days: int
    raised: Counter[str] = field(default_factory=Counter[str])
    over: Counter[str] = field(default_factory=Counter[str])
    told: Counter[str] = field(default_factory=Counter[str])
    missed: list[str] = field(default_factory=list[str])
    messages: Counter[str] = field(default_factory=Counter[str])
    busiest: dict[str, int] = field(default_factory=dict[str, int])
    escalations: Counter[str] = field(default_factory=Counter[str])
    besides: list[str] = field(default_factory=list[str])
    repeats: list[str] = field(default_factory=list[str])
    woken: list[str] = field(default_factory=list[str])
    waits_h: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))

    def a_day(self, person: str) -> float:
        """Return how many messages a person got a day, on average."""
        return self.messages[person] / self.days

    def lines(self) -> Iterator[str]:
        """Yield the report for a person."""
        yield f"{'kind':20} raised  over before  told in time  waited [h]: median, longest"
        for kind, count in self.raised.most_common():
            waits = sorted(self.waits_h[kind]) or [float("nan")]
            middle = waits[len(waits) // 2]
            yield f"{kind:20} {count:6}  {self.over[kind]:11}  {self.told[kind]:12}  {middle:6.1f}, {waits[-1]:.1f}"
        for person, count in sorted(self.messages.items()):
            a_day = f"{self.a_day(person):.2f} a day, at most {self.busiest[person]}"
            yield f"{person}: {count} messages in {self.days} days, {a_day}"
        yield f"missed: {len(self.missed)}"
        yield from (f"named once more on a day, {why}: {count}" for why, count in self.escalations.most_common())
        yield f"named once more on a day, a call beside another matter: {len(self.besides)}"
        yield f"named once more on a day, neither: {len(self.repeats)}"
        yield f"messages in quiet hours without leave: {len(self.woken)}"
        yield from self.missed[:10]
        yield from (*self.besides[:10], *self.repeats[:10])
        yield from self.woken[:10]
