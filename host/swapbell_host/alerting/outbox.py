"""What is kept of notices and of their tellings, and what the alerts ask of whoever keeps it.

A telling is one message to one person. It is in the ledger before it is sent, names the notices that it holds, and is
tried until the person's address takes it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Protocol

from swapbell_models.notice import Notice, NoticeKind


class Why(Enum):
    """Why a person is told of a notice."""

    FIRST = "first"
    AGAIN = "reminder"
    BEHIND = "escalation"


@dataclass(frozen=True, slots=True)
class OpenNotice:
    """A notice that nobody has acknowledged yet, of something that has not ended by itself.

    Attributes
    ----------
    id
        Its number in the ledger, which a person gives to acknowledge it.
    told_at, times_told
        When it was last told, aware UTC, nothing if never; and how often.
    shelved_until
        Until when nobody is told of it, aware UTC; nothing if nobody ever shelved it.
    """

    id: int
    notice: Notice
    told_at: datetime | None
    times_told: int
    shelved_until: datetime | None = None

    def shelved(self, at: datetime) -> bool:
        """Tell whether it lies on the shelf at a moment."""
        return self.shelved_until is not None and at < self.shelved_until

    @property
    def key(self) -> tuple[str, str, NoticeKind]:
        """What it is about, and of which kind."""
        return self.notice.site, self.notice.station, self.notice.kind


@dataclass(frozen=True, slots=True)
class Told:
    """One notice in one telling.

    Attributes
    ----------
    made_at
        When it was put there, aware UTC.
    taken_at
        When the person's address took the telling; nothing while it waits.
    """

    telling_id: int
    person: str
    notice_id: int
    key: tuple[str, str, NoticeKind]
    why: Why
    made_at: datetime
    taken_at: datetime | None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A telling that no address has taken yet.

    Attributes
    ----------
    made_at, due_at
        When it was begun, and when it is to be tried next, aware UTC.
    tries
        How often it was not taken.
    whys
        Why it names each notice, by the notice's number.
    """

    id: int
    person: str
    made_at: datetime
    due_at: datetime
    tries: int
    whys: dict[int, Why]


class Notices(Protocol):
    """Where notices are kept, durably; every call returns only when it is on disk."""

    def raise_notice(self, notice: Notice, at: datetime) -> OpenNotice | None:
        """Write the notice down; nothing if one with the same (site, station, kind, raised_at) is already there."""
        ...

    def open_notices(self) -> list[OpenNotice]:
        """Return every open notice of every station, oldest first."""
        ...

    def spells(self, since: datetime) -> list[OpenNotice]:
        """Return the notices that ended by themselves since then, oldest first."""
        ...

    def acknowledge(self, notice_id: int, at: datetime, by: str | None = None) -> bool:
        """Close the notice; False if there is no open one of that number."""
        ...

    def shelve(self, notice_id: int, until: datetime, by: str | None = None) -> bool:
        """Let nobody be told of the notice until then; False if there is no open one of that number."""
        ...


class Tellings(Protocol):
    """Where tellings are kept, durably; every call returns only when it is on disk."""

    def told(self, since: datetime) -> list[Told]:
        """Return what was told, or waits to be, of each open notice and of any since then, oldest first."""
        ...

    def waiting(self) -> list[Waiting]:
        """Return the tellings that no address has taken yet, oldest first."""
        ...

    def put(self, person: str, whys: dict[int, Why], at: datetime, due_at: datetime) -> None:
        """Begin a telling that is due then, or add to the one that waits for the person, which is due no later.

        One that was not taken keeps its time: its address is not pestered.
        """
        ...

    def leave_out(self, telling_id: int, notice_ids: Iterable[int]) -> None:
        """Take notices out of a telling that waits, and the telling away if none is left."""
        ...

    def taken(self, telling_id: int, at: datetime) -> None:
        """Note that the person's address took a telling, and with it that its notices were told."""
        ...

    def failed(self, telling_id: int, due_at: datetime) -> None:
        """Note that it did not, and when to try again."""
        ...
