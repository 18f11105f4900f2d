"""The rows of the spool's file: tallies in the order of sending, the boots they belong to, and what was dropped.

Whoever calls these holds the lock, and calls those that write inside `transaction`.
"""

import sqlite3
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager

from swapbell_device.spooling.holdings import BootRow
from swapbell_device.spooling.spoolfile import PAGE_BYTES, mark_of
from swapbell_models.message import encode
from swapbell_models.tally import Tally

# A tally's place in the file: its boot's number, then its seq. Boots are sent in the order in which they were begun.
SEQ_BITS = 32
SEQ_MAX = 2**SEQ_BITS - 1

IN_ORDER = """
SELECT boot.name, tally.place & ?, tally.payload
FROM tally CROSS JOIN boot ON boot.number = tally.place >> ? ORDER BY tally.place
"""
TOLD = "SELECT name, last, through FROM boot"
MARK_BOOT = "UPDATE boot SET mark = mark_of(number, name, dropped, last, through) WHERE number = ?"
DROPPED = "UPDATE boot SET dropped = dropped + ?1 WHERE number = ?2"
PUT = "UPDATE boot SET last = max(last, ?1) WHERE number = ?2"
RECEIPTED = "UPDATE boot SET through = max(through, min(?1, last)) WHERE number = ?2"


class Rows:
    """The tables of one open file.

    Parameters
    ----------
    db : sqlite3.Connection
        As `spoolfile.open_file` returns it.
    """

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._measure()

    @contextmanager
    def transaction(self) -> Generator[None]:
        """Make everything inside durable at once, or nothing of it."""
        self._db.execute("BEGIN IMMEDIATE")
        try:
            with self._db:
                yield
        except sqlite3.Error:
            self._measure()
            raise

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def in_order(self, *, newest_first: bool = False) -> Iterator[tuple[str, int, bytes]]:
        """Yield boot, seq and payload of every tally in the order of sending, or from its end."""
        order = IN_ORDER + ("DESC" if newest_first else "")
        with closing(self._db.execute(order, (SEQ_MAX, SEQ_BITS))) as rows:
            yield from rows

    def boots(self, after: dict[str, int]) -> list[BootRow]:
        """Return the boots that are not receipted whole, as they stand above `after` (by boot), in their order."""
        rows = self._db.execute(f"{TOLD} WHERE last > through ORDER BY number").fetchall()
        return [
            BootRow(name, self._oldest(name, after), last, max(through, after.get(name, -1)))
            for name, last, through in rows
        ]

    def count(self, after: dict[str, int]) -> int:
        """Return how many tallies are held above `after`."""
        return sum(int(self._one("SELECT count(*)", boot, after) or 0) for boot in self._numbers)

    def dropped(self) -> int:
        """Return how many tallies were dropped since the file was begun."""
        (dropped,) = self._db.execute("SELECT coalesce(sum(dropped), 0) FROM boot").fetchone()
        return int(dropped)

    def insert(self, tally: Tally) -> None:
        """Keep a tally; one that is already there stays as it is."""
        number, payload = self._number(tally.boot), encode(tally)
        place = (number << SEQ_BITS) + tally.seq
        row = (place, tally.seconds, payload, mark_of(place, tally.seconds, payload))
        if self._db.execute("INSERT OR IGNORE INTO tally VALUES (?, ?, ?, ?)", row).rowcount:
            self._seconds += tally.seconds
            self._note(number, PUT, tally.seq)

    def covered(self, through: dict[str, int]) -> bool:
        """Tell whether receipts up to the seq that is given for each boot change anything that is written of it."""
        told = {name: (last, receipted) for name, last, receipted in self._db.execute(TOLD)}
        return any(
            min(through[boot], told[boot][0]) > told[boot][1] or self._holds(boot, through[boot])
            for boot in through.keys() & told.keys()
        )

    def remove(self, through: dict[str, int]) -> None:
        """Remove each boot's tallies up to the seq that is given for it."""
        for boot in through.keys() & self._numbers.keys():
            number, last = self._numbers[boot], min(through[boot], SEQ_MAX)
            self._remove(number << SEQ_BITS, (number << SEQ_BITS) + last)
            self._note(number, RECEIPTED, last)

    def bound(self, keep_s: float, keep_bytes: int) -> None:
        """Drop the oldest tallies, and count them, until the rest is within both bounds; the newest stays."""
        while self._seconds > keep_s or self._bytes() > keep_bytes:
            oldest, newest = self._db.execute("SELECT min(place), max(place) FROM tally").fetchone()
            if oldest == newest:
                return
            self._remove(oldest, oldest)
            self._note(oldest >> SEQ_BITS, DROPPED, 1)

    def count_dropped(self, dropped: dict[str, int]) -> None:
        """Count tallies of each boot as dropped that never came here."""
        for boot, count in dropped.items():
            self._note(self._number(boot), DROPPED, count)

    def _measure(self) -> None:
        self._numbers: dict[str, int] = dict(self._db.execute("SELECT name, number FROM boot"))
        (self._seconds,) = self._db.execute("SELECT total(seconds) FROM tally").fetchone()

    def _holds(self, boot: str, through: int) -> bool:
        oldest = self._oldest(boot, {})
        return oldest is not None and oldest <= through

    def _oldest(self, boot: str, after: dict[str, int]) -> int | None:
        place = self._one("SELECT min(place)", boot, after)
        return None if place is None else place & SEQ_MAX

    def _one(self, select: str, boot: str, after: dict[str, int]) -> int | None:
        first = self._numbers[boot] << SEQ_BITS
        span = (first + min(after.get(boot, -1), SEQ_MAX), first + SEQ_MAX)
        found: int | None = self._db.execute(f"{select} FROM tally WHERE place > ? AND place <= ?", span).fetchone()[
            0
        ]
        return found

    def _number(self, boot: str) -> int:
        if boot not in self._numbers:
            number = max(self._numbers.values(), default=0) + 1
            mark = mark_of(number, boot, 0, -1, -1)
            self._db.execute("INSERT INTO boot VALUES (?, ?, 0, -1, -1, ?)", (number, boot, mark))
            self._numbers[boot] = number
        return self._numbers[boot]

    def _remove(self, first: int, last: int) -> None:
        span = "FROM tally WHERE place BETWEEN ? AND ?"
        self._seconds -= self._db.execute(f"SELECT total(seconds) {span}", (first, last)).fetchone()[0]
        self._db.execute(f"DELETE {span}", (first, last))

    def _bytes(self) -> int:
        pages, free = (self._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count"))
        return int(pages - free) * PAGE_BYTES

    def _note(self, number: int, change: str, value: int) -> None:
        self._db.execute(change, (value, number))
        self._db.execute(MARK_BOOT, (number,))
