"""How people answered what they were told, kind by kind."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import Protocol


class Told(Protocol):
    """A notice and what became of it."""

    @property
    def kind(self) -> str:
        """What about."""
        ...

    @property
    def raised_at(self) -> datetime:
        """The moment of its evidence, aware UTC."""
        ...

    @property
    def acknowledged_at(self) -> datetime | None:
        """When somebody saw to it, aware UTC."""
        ...

    @property
    def ended_at(self) -> datetime | None:
        """When what it told of ended by itself, aware UTC."""
        ...


@dataclass(frozen=True, slots=True)
class Answered:
    """The notices of one kind.

    Attributes
    ----------
    raised, acknowledged, ended
        How many there were; how many somebody saw to; how many ended by themselves. The rest are open.
    usual, longest
        Median and longest time from its evidence until somebody saw to it; nothing where nobody did.
    """

    kind: str
    raised: int
    acknowledged: int
    ended: int
    usual: timedelta | None
    longest: timedelta | None

    @property
    def open(self) -> int:
        """How many still wait for somebody."""
        return self.raised - self.acknowledged - self.ended


def answered(notices: Iterable[Told]) -> Iterator[Answered]:
    """Yield how the notices of each kind were answered, the most frequent kind first."""
    by_kind = dict[str, list[Told]]()
    for each in notices:
        by_kind.setdefault(each.kind, []).append(each)
    for kind in sorted(by_kind, key=lambda kind: (-len(by_kind[kind]), kind)):
        yield _of_kind(kind, by_kind[kind])


def _lapse(of: Callable[[list[float]], float], took_s: list[float]) -> timedelta | None:
    return timedelta(seconds=of(took_s)) if took_s else None


def _of_kind(kind: str, notices: Sequence[Told]) -> Answered:
    took_s = [(each.acknowledged_at - each.raised_at).total_seconds() for each in notices if each.acknowledged_at]
    ended = sum(each.ended_at is not None and each.acknowledged_at is None for each in notices)
    return Answered(kind, len(notices), len(took_s), ended, _lapse(median, took_s), _lapse(max, took_s))
