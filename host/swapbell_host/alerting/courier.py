"""The one thread that carries messages to the channels, so that nobody else waits for them.

An errand goes round: the caller hands it over, the thread sets `taken`, the caller looks at it in its own time.
"""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from queue import SimpleQueue
from threading import Thread

from swapbell_host.alerting.channel import Channel

# Our choice: at the end of a run, as long as a person who pressed Ctrl-C waits without pressing it again.
PATIENCE_S = 3.0


@dataclass(slots=True, eq=False)
class Errand:
    """One telling of one notice through one channel.

    Attributes
    ----------
    due_at
        When it is to be carried, or carried again, aware UTC.
    failures
        How often the channel did not take it.
    underway
        Whether it was handed over and not looked at since.
    taken
        What became of it; nothing while it is not known.
    """

    notice_id: int
    channel: Channel
    title: str
    body: str
    due_at: datetime
    failures: int = 0
    underway: bool = False
    taken: bool | None = None

    def fail(self, again_at: datetime) -> None:
        """Note that it was not taken, and when to try again."""
        self.failures, self.due_at = self.failures + 1, again_at
        self.underway, self.taken = False, None


class Courier:
    """Carries one errand after the other; a process that ends does not wait for it."""

    def __init__(self) -> None:
        self._errands: SimpleQueue[Errand | None] = SimpleQueue()
        self._thread = Thread(target=self._carry_all, name="courier", daemon=True)
        self._thread.start()

    def carry(self, errand: Errand) -> None:
        """Hand an errand over, without waiting."""
        errand.underway = True
        self._errands.put(errand)

    def close(self, patience_s: float = PATIENCE_S) -> None:
        """Take no more errands, and wait at most so long [s] for those that were handed over."""
        self._errands.put(None)
        self._thread.join(patience_s)

    def _carry_all(self) -> None:
        for errand in iter(self._errands.get, None):
            taken = False
            # A channel runs the code of others: whatever goes wrong in it, the notice was not taken.
            with suppress(Exception):
                taken = errand.channel.send(errand.title, errand.body)
            errand.taken = taken
