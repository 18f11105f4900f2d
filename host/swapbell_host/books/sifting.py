"""What of a batch is new to the ledger, what is there already, and what contradicts it."""

from collections.abc import Callable
from dataclasses import dataclass, field

from sqlalchemy import Connection

from swapbell_host.books import tallybook
from swapbell_host.books.bootrows import Boot
from swapbell_host.intake import BootName, Read, Rejection
from swapbell_models.tally import Tally


@dataclass(slots=True)
class Entry:
    """A batch on its way into the ledger.

    Attributes
    ----------
    boots
        Those that it touches.
    fresh
        The tallies that are new, each with its boot.
    odd
        Those of them that may change what was summed, or where in time it lies.
    clashes
        Tallies that are known with other content.
    """

    boots: dict[BootName, Boot] = field(default_factory=dict[BootName, Boot])
    fresh: list[tuple[Boot, Read]] = field(default_factory=list[tuple[Boot, Read]])
    odd: list[tuple[Boot, Tally]] = field(default_factory=list[tuple[Boot, Tally]])
    clashes: list[Rejection] = field(default_factory=list[Rejection])

    def add(self, boot: Boot, read: Read) -> None:
        """Take in a new tally."""
        boot.came.add(read.tally.seq)
        self.fresh.append((boot, read))
        if read.tally.seq < boot.settled:
            self.odd.append((boot, read.tally))


def sift(connection: Connection, reads: list[Read], find: Callable[[BootName], Boot]) -> Entry:
    """Sort the tallies of a batch, given what finds or makes a boot."""
    entry, seen = Entry(), list[tuple[Boot, Read]]()
    touched, add = entry.boots, entry.add
    for read in reads:
        boot = touched.get(read.boot)
        if boot is None:
            boot = touched[read.boot] = find(read.boot)
        if read.tally.seq in boot.came:
            seen.append((boot, read))
        else:
            add(boot, read)
    if seen:
        _compare(connection, seen, entry)
    return entry


def _compare(connection: Connection, seen: list[tuple[Boot, Read]], entry: Entry) -> None:
    """Compare with what is stored, or came in the same batch; a seq may have been given up, or its tally refused."""
    known = {(boot.id, read.tally.seq): read.tally for boot, read in entry.fresh}
    known |= tallybook.get(connection, [(boot.id, read.tally.seq) for boot, read in seen])
    for boot, read in seen:
        first = known.setdefault((boot.id, read.tally.seq), read.tally)
        if first is read.tally:
            entry.add(boot, read)
        elif first != read.tally:
            entry.clashes.append(_clash(read))


def _clash(read: Read) -> Rejection:
    tally = read.tally
    reason = f"tally {tally.seq} of boot {tally.boot} is known with other content: two stations may share one name"
    return Rejection(read.arrival, reason, read.station)
