"""The spool: every tally that is not yet receipted, safe on disk.

A put is durable when it returns. Should the disk refuse, the tally waits in memory, every later put and the end try
again, and what the disk never takes is told as lost. The spool is bounded: the oldest tallies are dropped first and
counted. Receipts are noted at once and their rows removed together with the next put, which halves the writes to the
card; a power cut in between only sends some tallies twice.
"""

import sqlite3
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterable
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from itertools import chain, islice
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import NamedTuple, Self

from swapbell_device.spooling import spoolfile
from swapbell_device.spooling.holdings import holdings
from swapbell_device.spooling.spoolrows import Rows
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Held, MalformedMessage, decode, encode
from swapbell_models.tally import Tally

DAY_S = 86400.0
KEEP_DAYS = 30.0
KEEP_BYTES = 2**30
# Our choice: a day of tallies of 15 s, some 2 MB of memory.
WAITING_MAX = 5760
# Our choice: few enough for one small write, enough to make a backlog quick.
BATCH = 64
# Our choice: so many receipts are noted before their rows are removed without waiting for the next put.
NOTED_MAX = 64


class Entry(NamedTuple):
    """One tally that waits for its receipt, as it goes on the wire."""

    boot: str
    seq: int
    payload: bytes


class Spool:
    """A bounded, durable queue of tallies; safe to use from two threads.

    Parameters
    ----------
    path : Path
        Its file, begun if it is missing, set aside if it is damaged.
    keep_days : float
        Most time that the held tallies may tell of [d]. Their own lengths are added up, so that no clock matters.
    keep_bytes : int
        Most that the file may hold [B].
    opened_at : datetime
        Dates what is set aside.
    say : callable
        Told one line for each change of state.

    Raises
    ------
    Mistake, Breakdown
        If the file cannot be opened.
    """

    def __init__(
        self,
        path: Path,
        keep_days: float = KEEP_DAYS,
        keep_bytes: int = KEEP_BYTES,
        *,
        opened_at: datetime,
        say: Callable[[str], None],
    ) -> None:
        self.path = path
        self.trouble: str | None = None
        self._keep_s, self._keep_bytes = keep_days * DAY_S, keep_bytes
        self._say = say
        self._lock = RLock()
        self._waiting: deque[Tally] = deque()
        self._lost: Counter[str] = Counter()
        self._through: dict[str, int] = {}
        self._noted = 0
        db, damaged = spoolfile.open_file(path, opened_at, say)
        self._rows = Rows(db)
        if damaged is not None:
            self._carry_over(damaged)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self.close()
        except Breakdown as lost:
            if isinstance(error, Mistake | Breakdown):
                raise Breakdown(f"{error}; {lost}") from error
            raise

    def close(self) -> None:
        """Write what waits in memory, one last time, and let go of the file.

        Raises
        ------
        Breakdown
            If the disk still refuses: what waited in memory only is lost.
        """
        with self._lock:
            with closing(self._rows):
                self._store()
            if lost := self.unstored + self._lost.total():
                raise Breakdown(f"{lost} tallies that waited in memory are lost: {self.trouble}")

    def retry(self) -> None:
        """Try once more to write what waits in memory."""
        with self._lock:
            self._store()

    def put(self, tally: Tally) -> None:
        """Keep a tally until it is receipted; putting the same one twice is harmless.

        Raises
        ------
        Breakdown
            If the file was damaged while it was in use.
        """
        with self._lock:
            self._waiting.append(tally)
            self._store()

    def pending(self, limit: int) -> list[Entry]:
        """Return the oldest tallies without a receipt, at most `limit`, in the order of sending."""
        with self._reading():
            return self._open(chain(self._rows.in_order(), map(_row, self._waiting)), limit)

    def newest(self, limit: int) -> list[Entry]:
        """Return the newest tallies without a receipt, at most `limit`, in the order of sending."""
        with self._reading():
            rows = chain(map(_row, reversed(self._waiting)), self._rows.in_order(newest_first=True))
            return self._open(rows, limit)[::-1]

    def received(self, boot: str, through: int) -> None:
        """Let go of all tallies of `boot` up to `through`: they are durably in the ledger."""
        with self._reading():
            self._through[boot] = max(through, self._through.get(boot, -1))
            self._waiting = deque(tally for tally in self._waiting if not self._is_received(tally))
            self._noted += 1
            if self._noted >= NOTED_MAX:
                self._store()

    def oldest(self) -> tuple[Held, ...]:
        """Return what is held of each boot that is not receipted whole: the oldest tally, and the last ever put."""
        with self._reading():
            return holdings(self._rows.boots(self._through), self._waiting)

    @property
    def dropped(self) -> int:
        """Return how many tallies were dropped since the file was begun."""
        with self._reading():
            return self._rows.dropped() + self._lost.total()

    @property
    def unstored(self) -> int:
        """Return how many are in memory only, because the disk refuses them."""
        return len(self._waiting)

    @property
    def stored(self) -> int:
        """Return how many tallies without a receipt are safe in the file."""
        with self._reading():
            return self._rows.count(self._through)

    def __len__(self) -> int:
        with self._lock:
            return self.stored + self.unstored

    @contextmanager
    def _reading(self) -> Generator[None]:
        with self._lock:
            try:
                yield
            except sqlite3.Error as error:
                raise self._breakdown(error) from error

    def _breakdown(self, error: sqlite3.Error) -> Breakdown:
        damaged = f"was damaged while in use ({error}); start again and it is set aside"
        return Breakdown(f"spool {self.path} {spoolfile.trouble(error) or damaged}")

    def _open(self, rows: Iterable[tuple[str, int, bytes]], limit: int) -> list[Entry]:
        entries = (Entry(*row) for row in rows)
        return list(islice((entry for entry in entries if not self._is_received(entry)), limit))

    def _is_received(self, tally: Tally | Entry) -> bool:
        return tally.seq <= self._through.get(tally.boot, -1)

    def _carry_over(self, damaged: Path) -> None:
        for payload in spoolfile.readable(damaged):
            with suppress(MalformedMessage):
                self._waiting.append(decode(payload, Tally))
            if len(self._waiting) >= BATCH:
                self._store()
        self._store()

    def _store(self) -> None:
        try:
            self._write()
            while self._waiting:
                self._write()
        except sqlite3.Error as error:
            self._refused(error)
        else:
            self._accepted()

    def _write(self) -> None:
        batch = list(islice(self._waiting, BATCH))
        with self._rows.transaction():
            self._rows.remove(self._through)
            for tally in batch:
                self._rows.insert(tally)
            self._rows.count_dropped(self._lost)
            self._rows.bound(self._keep_s, self._keep_bytes)
        for _ in batch:
            self._waiting.popleft()
        self._through.clear()
        self._lost.clear()
        self._noted = 0

    def _refused(self, error: sqlite3.Error) -> None:
        trouble = spoolfile.trouble(error)
        if trouble is None:
            raise self._breakdown(error) from error
        while len(self._waiting) > WAITING_MAX:
            self._lost[self._waiting.popleft().boot] += 1
        if self.trouble is None:
            self._say(f"spool {self.path} {trouble}; counting goes on, tallies wait in memory")
        self.trouble = f"spool {self.path} {trouble}"

    def _accepted(self) -> None:
        if self.trouble is not None:
            self._say(f"spool {self.path} takes tallies again; all that waited are stored")
        self.trouble = None


def _row(tally: Tally) -> tuple[str, int, bytes]:
    return tally.boot, tally.seq, encode(tally)
