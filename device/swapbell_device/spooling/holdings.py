"""What the spool holds of each boot, as health tells it: the host sees from it what will never come.

A boot of which nothing is left is told too, until the host has receipted it whole: else it would leave no trace.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from swapbell_models.message import Held
from swapbell_models.tally import Tally

# Our choice: some 3 KB in every health; a station that lost more boots whole has told of the earlier ones before.
GONE_MAX = 50


class BootRow(NamedTuple):
    """One boot in the file: the oldest seq held, if any, the highest ever put, and up to where it is receipted."""

    name: str
    oldest: int | None
    last: int
    through: int


def holdings(boots: Sequence[BootRow], waiting: Iterable[Tally]) -> tuple[Held, ...]:
    """Return what is held of each boot that is not receipted whole, in the file and in memory.

    Parameters
    ----------
    boots : sequence of BootRow
        What is in the file, in the order in which the boots were begun; of those of which nothing is left the last
        `GONE_MAX` are told.
    waiting : iterable of Tally
        What is in memory only, in time order.
    """
    gone = [boot.name for boot in boots if boot.oldest is None and boot.last > boot.through][-GONE_MAX:]
    told = {boot.name: _held(boot) for boot in boots if boot.oldest is not None or boot.name in gone}
    for tally in waiting:
        told[tally.boot] = _with(told.get(tally.boot), tally)
    return tuple(told.values())


def _held(boot: BootRow) -> Held:
    return Held(boot=boot.name, seq=boot.last + 1 if boot.oldest is None else boot.oldest, last=boot.last)


def _with(held: Held | None, tally: Tally) -> Held:
    if held is None or held.last is None:
        return Held(boot=tally.boot, seq=tally.seq, last=tally.seq)
    nothing_else = held.seq > held.last
    oldest = tally.seq if nothing_else else min(held.seq, tally.seq)
    return Held(boot=tally.boot, seq=oldest, last=max(held.last, tally.seq))
