"""The tallies that are not in the spool's file: in the counter's memory, and in its tail, which a kill spares."""

from collections import Counter, deque
from collections.abc import Callable
from itertools import islice
from threading import Lock
from typing import NamedTuple

from swapbell_device.spooling.tail import Tail
from swapbell_models.message import encode
from swapbell_models.tally import Tally


class Entry(NamedTuple):
    """One tally that waits for its receipt, as it goes on the wire."""

    boot: str
    seq: int
    payload: bytes


class Waiting:
    """A queue of tallies, safe to use from several threads.

    Parameters
    ----------
    tail : Tail
        Where they are kept beside; what it holds comes first.

    Attributes
    ----------
    lost
        Of each boot, how many were given up because there were too many.
    """

    def __init__(self, tail: Tail) -> None:
        self._tail, self._lock = tail, Lock()
        self._tallies = deque(tail.tallies())
        self._tail.keep(self._tallies)
        self.lost: Counter[str] = Counter()

    def __len__(self) -> int:
        return len(self._tallies)

    def add(self, tally: Tally) -> bool:
        """Take one more; tell whether it outlives this process."""
        with self._lock:
            self._tallies.append(tally)
            return self._tail.add(tally)

    def first(self, count: int | None = None) -> list[Tally]:
        """Return the oldest, at most so many, or all."""
        with self._lock:
            return list(islice(self._tallies, count))

    def entries(self) -> list[Entry]:
        """Return all, as they go on the wire."""
        return [Entry(tally.boot, tally.seq, encode(tally)) for tally in self.first()]

    @property
    def outlives(self) -> bool:
        """Whether they outlive this process."""
        return self._tail.kept

    @property
    def seconds(self) -> float:
        """How much time they tell of together [s]."""
        return sum(tally.seconds for tally in self.first())

    def stored(self, count: int) -> None:
        """Let go of so many of the oldest: they are in the file."""
        with self._lock:
            for _ in range(count):
                self._tallies.popleft()
            self._tail.keep(self._tallies)

    def receipted(self, covers: Callable[[Tally], bool]) -> None:
        """Let go of those that a receipt covers; the tail holds them until it is tidied."""
        with self._lock:
            self._tallies = deque(tally for tally in self._tallies if not covers(tally))

    def tidy(self) -> None:
        """Keep in the tail what waits still, and no more of what was receipted, or it would grow without end."""
        with self._lock:
            self._tail.keep(self._tallies)

    def trim(self, most: int) -> None:
        """Give up the oldest until at most so many are left, and count them."""
        with self._lock:
            for _ in range(len(self._tallies) - most):
                self.lost[self._tallies.popleft().boot] += 1
            self._tail.keep(self._tallies)
