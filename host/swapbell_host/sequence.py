"""Which tallies of one boot have come, and up to where nothing is missing."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Hole:
    """Tallies of one boot that are missing, `first` to `last`; `lost` when the station said that they never come."""

    boot: str
    first: int
    last: int
    lost: bool


class Sequence:
    """The seqs of one boot that have come, counted from 1.

    Attributes
    ----------
    through : int
        The largest n such that each of 1..n has come or will never come; 0 at first.
    """

    __slots__ = ("_above", "oldest", "through")

    def __init__(self, seqs: Iterable[int] = (), oldest: int = 0) -> None:
        self.through = 0
        self.oldest = oldest
        self._above: set[int] = set(seqs)
        self._close_up()

    def __contains__(self, seq: int) -> bool:
        return seq <= self.through or seq in self._above

    def add(self, seq: int) -> None:
        """Note that a tally has come."""
        if seq == self.through + 1 and not self._above:
            self.through = seq
        elif seq not in self:
            self._above.add(seq)
            self._close_up()

    def forget_below(self, oldest: int) -> None:
        """Note that what is missing below `oldest` will never come."""
        if oldest > self.oldest:
            self.oldest = oldest
            self._close_up()

    def _close_up(self) -> None:
        if self.oldest > self.through + 1:
            self.through = self.oldest - 1
            self._above = {seq for seq in self._above if seq > self.through}
        while self.through + 1 in self._above:
            self.through += 1
            self._above.remove(self.through)


def holes(boot: str, seqs: Iterable[int], oldest: int) -> list[Hole]:
    """Return what is missing among the seqs of one boot.

    Parameters
    ----------
    boot : str
        The boot's name.
    seqs : iterable of int
        Those that have come, ascending.
    oldest : int
        What is missing below it is lost.
    """
    found: list[Hole] = []
    expected = 1
    for seq in [*seqs, oldest]:
        found += _between(boot, expected, seq - 1, oldest)
        expected = max(expected, seq + 1)
    return found


def _between(boot: str, first: int, last: int, oldest: int) -> list[Hole]:
    parts = (first, min(last, oldest - 1), True), (max(first, oldest), last, False)
    return [Hole(boot, low, high, lost) for low, high, lost in parts if low <= high]
