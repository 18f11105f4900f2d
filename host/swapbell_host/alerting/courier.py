"""Threads that carry messages to the channels, so that nobody waits for a channel and none for another.

Each message has a thread of its own, and each person at most one message under way. A channel that does not come back
is left standing after a while; a process that ends waits for none.
"""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Thread
from time import monotonic

from swapbell_host.alerting.channel import Channel

# Our choice: a slow mail server takes a quarter of a minute; what takes four times that is not coming back.
TIMEOUT = timedelta(seconds=60)
# Our choice: so many threads may hang on one person's channel before it is not tried any more in this run.
HANGING_MAX = 3
# Our choice: at the end of a run, as long as a person who pressed Ctrl-C waits without pressing it again.
PATIENCE_S = 3.0


@dataclass(slots=True, eq=False)
class Errand:
    """One message on its way to one person.

    Attributes
    ----------
    telling_id
        Its number in the ledger.
    begun_at
        When it was handed over, aware UTC.
    taken
        What became of it; nothing while it is not known.
    """

    telling_id: int
    person: str
    title: str
    body: str
    begun_at: datetime
    taken: bool | None = None


class Courier:
    """Carries each message in a thread of its own."""

    def __init__(self) -> None:
        self._underway: dict[str, tuple[Errand, Thread]] = {}
        self._hanging: dict[str, list[Thread]] = {}

    @property
    def underway(self) -> frozenset[str]:
        """To whom a message is on its way."""
        return frozenset(self._underway)

    def carry(self, errand: Errand, channel: Channel) -> None:
        """Hand a message over, without waiting; to somebody to whom none is under way."""
        hanging = [thread for thread in self._hanging.get(errand.person, ()) if thread.is_alive()]
        self._hanging[errand.person] = hanging
        thread = Thread(target=_send, args=(errand, channel), name=f"to {errand.person}", daemon=True)
        self._underway[errand.person] = errand, thread
        if len(hanging) >= HANGING_MAX or not _starts(thread):
            errand.taken = False

    def back(self, at: datetime) -> list[Errand]:
        """Return the messages of which it is known by `at` what became of them, each once."""
        found = [errand for errand, _ in self._underway.values() if errand.taken is not None]
        late = [errand for errand, _ in self._underway.values() if _is_late(errand, at)]
        for errand in late:
            self._hanging[errand.person].append(self._underway[errand.person][1])
        for errand in (*found, *late):
            del self._underway[errand.person]
        return [*found, *late]

    def close(self, patience_s: float = PATIENCE_S) -> None:
        """Wait at most so long [s], all together, for what is under way."""
        until_s = monotonic() + patience_s
        for _, thread in self._underway.values():
            if thread.is_alive():
                thread.join(max(until_s - monotonic(), 0.0))


def _starts(thread: Thread) -> bool:
    """Start a thread; False if the machine has no room for one more."""
    try:
        thread.start()
    except RuntimeError:
        return False
    return True


def _is_late(errand: Errand, at: datetime) -> bool:
    """Tell whether it has been gone for too long, or the clock was set since, which tells no more how long."""
    return errand.taken is None and abs(at - errand.begun_at) > TIMEOUT


def _send(errand: Errand, channel: Channel) -> None:
    taken = False
    # A channel runs the code of others: whatever goes wrong in it, the message was not taken.
    with suppress(Exception):
        taken = bool(channel.send(errand.title, errand.body))
    errand.taken = taken
