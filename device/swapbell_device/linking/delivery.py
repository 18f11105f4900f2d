"""What is sent on one connection, and when: live tallies, then the backlog, again what has no receipt, and health.

Time is an argument.
"""

import math
from collections import deque
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Protocol

from swapbell_device.linking.budget import Budget
from swapbell_device.spooling.spool import Spool
from swapbell_device.spooling.waiting import Entry
from swapbell_models.message import Health, Subject, encode

# Our choice: fifteen minutes of tallies, what a verdict looks at, come before any backlog.
LIVE = 60
# Our choice: so much of a backlog is under way at once; a receipt covers many, and a lost one costs little.
BACKLOG = 100
WINDOW = LIVE + BACKLOG
NEVER_S = -math.inf
# Gives the answer to a question, at most so long [B].
Answer = Callable[[bytes, int], bytes | None]
# Our choice: one who asks waits for the answer; whoever asks much at once asks again.
ASKED_MAX = 4


@dataclass(frozen=True, slots=True)
class Patience:
    """How long the link waits [s]; each value is our choice.

    Attributes
    ----------
    retry_s, retry_max_s
        Before it knocks again at the broker, doubled from try to try.
    resend_s, resend_max_s
        Before it sends again what was not receipted, doubled each time: a host that is away for days costs little. A
        broker that owes an acknowledgement for `resend_s` is left and knocked at anew.
    health_s
        Between two reports of health.
    stop_s, end_s
        For the last receipts, when someone stops the station, and when its clip has ended.
    """

    retry_s: float = 1.0
    retry_max_s: float = 60.0
    resend_s: float = 30.0
    resend_max_s: float = 900.0
    health_s: float = 60.0
    stop_s: float = 5.0
    end_s: float = 30.0


PATIENT = Patience()


class Wire(Protocol):
    """Where messages go."""

    def unacknowledged_s(self, now_s: float) -> float:
        """Return for how long the broker owes an acknowledgement [s]; 0 if it owes none."""
        ...

    def publish(self, subject: Subject, payload: bytes, now_s: float) -> None:
        """Send a message at least once."""
        ...


class Delivery:
    """The plan of one connection.

    Parameters
    ----------
    wire : Wire
        The connection.
    spool : Spool
        What is delivered.
    health : callable
        Returns the station's health.
    patience : Patience
        When to send again.
    budget : Budget, optional
        How much may be sent; what is live comes first.
    answer : callable, optional
        Returns the answer to a question, at most so long [B]; nothing if it is no question.
    """

    def __init__(
        self,
        wire: Wire,
        spool: Spool,
        health: Callable[[], Health],
        patience: Patience,
        budget: Budget | None = None,
        answer: Answer | None = None,
    ) -> None:
        self._wire, self._spool, self._health, self._patience = wire, spool, health, patience
        self._budget = budget or Budget()
        self._resend_s = patience.resend_s
        self._health_due_s = NEVER_S
        self._sent_s: dict[tuple[str, int], float] = {}
        self._answer = answer
        self._asked: deque[bytes] = deque(maxlen=ASKED_MAX)

    def step(self, now_s: float) -> bool:
        """Send what is due; return False, and send nothing, if the broker no longer acknowledges.

        Parameters
        ----------
        now_s : float
            Any clock that never goes back [s].
        """
        if self._wire.unacknowledged_s(now_s) >= self._patience.resend_s:
            return False
        if now_s >= self._health_due_s:
            self._wire.publish(Subject.HEALTH, encode(self._health()), now_s)
            self._health_due_s = now_s + self._patience.health_s
        self._send(dict.fromkeys(self._spool.newest(LIVE) + self._spool.pending(BACKLOG)), now_s)
        self._reply(now_s)
        return True

    def ask(self, question: bytes) -> None:
        """Let a question be answered once every tally that is due has been sent."""
        if question not in self._asked:
            self._asked.append(question)

    def report(self) -> None:
        """Let the station's health go out with the next step."""
        self._health_due_s = NEVER_S

    def receipted(self) -> None:
        """Note that the host is there: what stays without a receipt is soon worth another try."""
        self._resend_s = self._patience.resend_s

    def _reply(self, now_s: float) -> None:
        """Answer a question: a purse that is full, and so has something to spare, refused no tally."""
        spare = self._budget.spare(now_s) if self._asked and self._answer else 0
        if spare > 0 and self._answer and (answer := self._answer(self._asked.popleft(), spare)):
            self._budget.take(len(answer), now_s)
            self._wire.publish(Subject.ANSWER, answer, now_s)

    def _send(self, pending: Collection[Entry], now_s: float) -> None:
        self._sent_s = {(boot, seq): self._sent_s.get((boot, seq), NEVER_S) for boot, seq, _ in pending}
        due = [entry for entry in pending if now_s - self._sent_s[entry.boot, entry.seq] >= self._resend_s]
        again = False
        # What was never sent comes first: a receipt covers nothing beyond a gap, so sending again may be in vain.
        for entry in sorted(due, key=lambda entry: self._sent_s[entry.boot, entry.seq] > NEVER_S):
            if not self._budget.take(len(entry.payload), now_s):
                break
            again |= self._sent_s[entry.boot, entry.seq] > NEVER_S
            self._wire.publish(Subject.TALLY, entry.payload, now_s)
            self._sent_s[entry.boot, entry.seq] = now_s
        if again:
            self._resend_s = min(2.0 * self._resend_s, self._patience.resend_max_s)
