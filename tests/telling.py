"""Notices, people and channels as tests of telling need them; invented."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from swapbell_host.alerting.outbox import OpenNotice, Told, Why
from swapbell_host.alerting.policy import Person, Watchers
from swapbell_host.jobs.quiet import quiet
from swapbell_models.notice import Notice, NoticeKind, notice

ZONE = ZoneInfo("Pacific/Auckland")
# Ten in the morning of a late summer's day there.
NOW = datetime(2026, 2, 3, 10, 0, tzinfo=ZONE)
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
KIM, ROBIN = Person("Kim", quiet("21:00-06:00")), Person("Robin")
WATCHERS = Watchers((KIM,), (ROBIN,), ZONE)


def said(kind: NoticeKind, station: str = "north", at: datetime = NOW) -> Notice:
    """Return a notice of a kind."""
    return notice("orchard", station, kind, at, f"something {kind.value}")


def entry(
    kind: NoticeKind, number: int = 1, station: str = "north", shelved_until: datetime | None = None
) -> OpenNotice:
    """Return an open notice of a kind."""
    return OpenNotice(number, said(kind, station), None, 0, shelved_until)


def word(of: OpenNotice, person: Person, at: datetime, *, taken: bool = True, why: Why = Why.FIRST) -> Told:
    """Return that a person was told of a notice."""
    return Told(int(at.timestamp()), person.name, of.id, of.key, why, at, at if taken else None)


@dataclass(slots=True)
class Way:
    """A channel whose answers are given, and that takes everything after them."""

    answers: Sequence[bool | Exception] = ()
    taken: list[str] = field(default_factory=list[str])
    tries: int = 0

    def send(self, title: str, body: str) -> bool:
        """Answer as given, and keep what was taken."""
        self.tries += 1
        answer = self.answers[self.tries - 1] if self.tries <= len(self.answers) else True
        if isinstance(answer, Exception):
            raise answer
        if answer:
            self.taken.append(f"{title}\n{body}")
        return answer
