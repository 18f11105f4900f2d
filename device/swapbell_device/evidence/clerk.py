"""What takes time is done in a thread of its own, in order, and no more of it waits than memory allows."""

import traceback
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Condition

# Our choice: half a second of frames of 640x480 at 60 a second, which a small board can spare.
WAITING_MAX_BYTES = 10_000_000


class Clerk:
    """A thread that does one task after the other.

    Parameters
    ----------
    waits : bool
        Whether who gives a task waits for room: right where frames need not be taken as they come.
    most_bytes : int
        How much memory tasks that wait may hold [B].

    Attributes
    ----------
    defect
        The traceback of a task that failed, for which there is no other word; nothing more is done then.
    """

    def __init__(self, *, waits: bool = False, most_bytes: int = WAITING_MAX_BYTES) -> None:
        self.defect: str | None = None
        self._waits, self._most_bytes = waits, most_bytes
        self._waiting_bytes = 0
        self._change = Condition()
        self._thread = ThreadPoolExecutor(1, "evidence")

    def give(self, task: Callable[[], None], holds_bytes: int = 0) -> bool:
        """Let a task be done that holds so much memory [B]; return whether there was room for it."""
        with self._change:
            if self._waits:
                self._change.wait_for(lambda: self.defect or self._has_room(holds_bytes))
            if self.defect or not self._has_room(holds_bytes):
                return False
            self._waiting_bytes += holds_bytes
        self._thread.submit(task).add_done_callback(lambda done: self._done(done, holds_bytes))
        return True

    def close(self) -> None:
        """Do what waits, and end."""
        self._thread.shutdown()

    def _has_room(self, bytes_more: int) -> bool:
        """Tell whether a task may wait too; one that holds more than all may wait alone."""
        return not (bytes_more and self._waiting_bytes and self._waiting_bytes + bytes_more > self._most_bytes)

    def _done(self, done: Future[None], held_bytes: int) -> None:
        with self._change:
            self._waiting_bytes -= held_bytes
            if (error := done.exception()) is not None:
                self.defect = self.defect or "".join(traceback.format_exception(error))
            self._change.notify_all()
