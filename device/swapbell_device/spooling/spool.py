"""The spool: every tally that is not yet receipted, safe from whatever ends the counter.

A put is safe from a kill when it returns. With a tail in memory it goes to the disk only if it waits for its receipt
for longer, together with those that wait with it, in a thread of the spool's own; without a tail at once. Should the
disk refuse, the tally waits in memory, every later put and the end try again, and what the disk never takes is told
as lost. The spool is bounded: the oldest tallies are dropped first and counted. Receipts are noted at once and their
rows removed with the next write; a power cut or a kill in between only sends some tallies twice.
"""

import sqlite3
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from itertools import chain, islice
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Self

from swapbell_device.spooling import spoolfile
from swapbell_device.spooling.holdings import holdings
from swapbell_device.spooling.spoolrows import Rows
from swapbell_device.spooling.tail import Tail
from swapbell_device.spooling.waiting import Entry, Waiting
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.message import Held, MalformedMessage, decode
from swapbell_models.tally import Tally

DAY_S = 86400.0
KEEP_DAYS = 30.0
KEEP_BYTES = 2**30
# So much time without a receipt is told in memory only, and lost with the power. Our choice: see decision 21.
BEHIND_S = 300.0
# Our choice: a day of tallies of 15 s, some 2 MB of memory.
WAITING_MAX = 5760
# Our choice: few enough for one small write, enough to make a backlog quick.
BATCH = 64
# Our choice: so many receipts are noted before their rows are removed without waiting for the next write.
NOTED_MAX = 64


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
    memory : Path, optional
        A folder that the system holds in memory for the next counter, too; without it each put goes to the disk.

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
        memory: Path | None = None,
    ) -> None:
        self.path = path
        self.trouble: str | None = None
        self._keep_s, self._keep_bytes = keep_days * DAY_S, keep_bytes
        self._say = say
        self._through: dict[str, int] = {}
        self._noted = 0
        self._file = RLock()
        self._writer, self._writing = ThreadPoolExecutor(1, "spool"), Future[None]()
        self._writing.set_result(None)
        db, damaged = spoolfile.open_file(path, opened_at, say)
        self._rows = Rows(db)
        self._waiting = Waiting(Tail(memory and memory / f"{path.name}.tail", say))
        if damaged is not None:
            self._carry_over(damaged)
        self._store()

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
            If the disk still refuses: what waited in memory only is lost, unless its tail outlives the counter.
        """
        self._writer.shutdown()
        with self._file:
            with closing(self._rows):
                self._store()
            kept = self.unstored if self._waiting.outlives else 0
            if kept:
                self._say(f"{kept} tallies wait for the next start in memory only: {self.trouble}")
            if lost := self.unstored - kept + self._waiting.lost.total():
                raise Breakdown(f"{lost} tallies that waited in memory are lost: {self.trouble}")

    def retry(self) -> None:
        """Write what waits in memory."""
        self._store()

    def settle(self) -> None:
        """Wait until what is being written is written."""
        self._writing.result()

    def put(self, tally: Tally) -> None:
        """Keep a tally until it is receipted; putting the same one twice is harmless.

        Raises
        ------
        Breakdown
            If the file was damaged while it was in use.
        """
        if not self._waiting.add(tally):
            self._store()
        elif (self.trouble or self._waiting.seconds > BEHIND_S) and self._writing.done():
            self.settle()
            self._writing = self._writer.submit(self._store)

    def pending(self, limit: int) -> list[Entry]:
        """Return the oldest tallies without a receipt, at most `limit`, in the order of sending."""
        with self._reading():
            return self._open(chain(self._rows.in_order(), self._waiting.entries()), limit)

    def newest(self, limit: int) -> list[Entry]:
        """Return the newest tallies without a receipt, at most `limit`, in the order of sending."""
        with self._reading():
            rows = chain(reversed(self._waiting.entries()), self._rows.in_order(newest_first=True))
            return self._open(rows, limit)[::-1]

    def received(self, boot: str, through: int) -> None:
        """Let go of all tallies of `boot` up to `through`: they are durably in the ledger."""
        with self._reading():
            self._through[boot] = max(through, self._through.get(boot, -1))
            self._waiting.receipted(self._is_received)
            self._noted += 1
            if self._noted >= NOTED_MAX:
                self._store()

    def oldest(self) -> tuple[Held, ...]:
        """Return what is held of each boot that is not receipted whole: the oldest tally, and the last ever put."""
        with self._reading():
            return holdings(self._rows.boots(self._through), self._waiting.first())

    @property
    def dropped(self) -> int:
        """Return how many tallies were dropped since the file was begun."""
        with self._reading():
            return self._rows.dropped() + self._waiting.lost.total()

    @property
    def unstored(self) -> int:
        """Return how many are in memory only: the newest, and those that the disk refuses."""
        return len(self._waiting)

    @property
    def stored(self) -> int:
        """Return how many tallies without a receipt are safe in the file."""
        with self._reading():
            return self._rows.count(self._through)

    def __len__(self) -> int:
        with self._file:
            return self.stored + self.unstored

    @contextmanager
    def _reading(self) -> Generator[None]:
        try:
            with self._file:
                yield
        except sqlite3.Error as error:
            raise self._breakdown(error) from error

    def _breakdown(self, error: sqlite3.Error) -> Breakdown:
        damaged = f"was damaged while in use ({error}); start again and it is set aside"
        return Breakdown(f"spool {self.path} {spoolfile.trouble(error) or damaged}")

    def _open(self, rows: Iterable[tuple[str, int, bytes]], limit: int) -> list[Entry]:
        return list(islice((entry for row in rows if not self._is_received(entry := Entry(*row))), limit))

    def _is_received(self, tally: Tally | Entry) -> bool:
        return tally.seq <= self._through.get(tally.boot, -1)

    def _carry_over(self, damaged: Path) -> None:
        for payload in spoolfile.readable(damaged):
            with suppress(MalformedMessage):
                self._waiting.add(decode(payload, Tally))
            if len(self._waiting) >= BATCH:
                self._store()

    def _store(self) -> None:
        with self._file:
            try:
                while self._waiting or self._waiting.lost or self._rows.covered(self._through):
                    self._write()
            except sqlite3.Error as error:
                self._refused(error)
            else:
                self._through.clear()
                self._noted = 0
                self._waiting.tidy()

    def _write(self) -> None:
        batch = self._waiting.first(BATCH)
        with self._rows.transaction():
            self._rows.remove(self._through)
            for tally in batch:
                self._rows.insert(tally)
            self._rows.count_dropped(self._waiting.lost)
            self._rows.bound(self._keep_s, self._keep_bytes)
        self._waiting.stored(len(batch))
        self._waiting.lost.clear()
        if self.trouble is not None:
            self._say(f"spool {self.path} takes tallies again")
        self.trouble = None

    def _refused(self, error: sqlite3.Error) -> None:
        trouble = spoolfile.trouble(error)
        if trouble is None:
            raise self._breakdown(error) from error
        self._waiting.trim(WAITING_MAX)
        if self.trouble is None:
            self._say(f"spool {self.path} {trouble}; counting goes on, tallies wait in memory")
        self.trouble = f"spool {self.path} {trouble}"
