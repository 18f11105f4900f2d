"""Telling people: each notice is written down before it is told, and repeated until it is acknowledged."""

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from swapbell_models.notice import Notice


@dataclass(frozen=True, slots=True)
class OpenNotice:
    """A notice that nobody has acknowledged yet.

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
        """Return every unacknowledged notice of every station, oldest first."""
        ...

    def mark_told(self, notice_id: int, at: datetime) -> None:
        """Set when the notice was last told, and add one to how often."""
        ...

    def acknowledge(self, notice_id: int, at: datetime) -> bool:
        """Close the notice; False if there is no open one of that number."""
        ...
