"""Which tallies of one boot have come, and up to where nothing is missing."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from operator import itemgetter
from typing import NamedTuple


class Gap(NamedTuple):
    """Seqs that have not come, `first` to `last`, both included."""

    first: int
    last: int


class Sequence:
    """The seqs of one boot that have come, counted from 1, as the gaps that they leave.

    Parameters
    ----------
    last : int
        The largest that has come; 0 for none.
    gaps : iterable of Gap
        What is missing below it, ascending.
    """

    __slots__ = ("gaps", "last")

    def __init__(self, last: int = 0, gaps: Iterable[Gap] = ()) -> None:
        self.last = last
        self.gaps = list(gaps)

    def __contains__(self, seq: int) -> bool:
        return seq <= self.last and self._gap_of(seq) is None

    @property
    def through(self) -> int:
        """Return the largest n such that each of 1..n has come or will never come."""
        return self.gaps[0].first - 1 if self.gaps else self.last

    def add(self, seq: int) -> None:
        """Note that a tally has come."""
        if seq == self.last + 1:
            self.last = seq
        elif seq > self.last:
            self.gaps.append(Gap(self.last + 1, seq - 1))
            self.last = seq
        elif (n := self._gap_of(seq)) is not None:
            gap = self.gaps[n]
            self.gaps[n : n + 1] = _real(Gap(gap.first, seq - 1), Gap(seq + 1, gap.last))

    def forget_below(self, oldest: int) -> None:
        """Note that what is missing below `oldest` will never come."""
        ended = bisect_left(self.gaps, oldest, key=itemgetter(1))
        self.gaps[:ended] = []
        if self.gaps:
            self.gaps[0] = self.gaps[0]._replace(first=max(self.gaps[0].first, oldest))
        self.last = max(self.last, oldest - 1)

    def _gap_of(self, seq: int) -> int | None:
        n = bisect_right(self.gaps, seq, key=itemgetter(0)) - 1
        return n if n >= 0 and seq <= self.gaps[n].last else None


class Hole(NamedTuple):
    """Tallies of one boot that are missing, `first` to `last`; `lost` if its spool no longer has them."""

    boot: str
    first: int
    last: int
    lost: bool


def holes(boot: str, came: Sequence, oldest: int, last: int = 0) -> list[Hole]:
    """Return what is missing of a boot.

    Parameters
    ----------
    boot : str
        Its name.
    came : Sequence
        What has come, nothing forgotten.
    oldest : int
        What is missing below it is lost.
    last : int
        The highest seq that the boot is known to have reached; 0 if nothing is known but what came.
    """
    gaps = [*came.gaps, *_real(Gap(came.last + 1, max(oldest - 1, last)))]
    lost = [Gap(gap.first, min(gap.last, oldest - 1)) for gap in gaps]
    awaited = [Gap(max(gap.first, oldest), gap.last) for gap in gaps]
    return [Hole(boot, *gap, True) for gap in _real(*lost)] + [Hole(boot, *gap, False) for gap in _real(*awaited)]


def _real(*gaps: Gap) -> list[Gap]:
    return [gap for gap in gaps if gap.first <= gap.last]
