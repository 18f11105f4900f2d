"""The link: brings the spool's tallies to the host, whatever the network does, in a thread of its own.

A tally leaves the spool only on a receipt. Until then it is sent once on every connection and again after a while,
a bounded number at a time. Trouble is told once per change of state, not per try.
"""

import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from threading import Event
from types import TracebackType
from typing import Self

from msgspec.structs import replace

from swapbell_device.config import BrokerSection
from swapbell_device.linking.budget import Budget
from swapbell_device.linking.delivery import PATIENT, Answer, Delivery, Patience
from swapbell_device.linking.linksession import Door, Session
from swapbell_device.spooling.spool import Spool
from swapbell_models.message import Health, MalformedMessage, Receipt, StationState, Subject, decode, encode

# Our choice: a new tally is sent within a tenth of a second.
TICK_S = 0.1
# Our choice: what the broker gets to take the last word.
FAREWELL_S = 2.0
# Our choice: a broker ends the older of two connections of one name, so stations that share one cut each other off as
# often as they knock, after seconds; three times in a row is hardly the network.
BRIEF_S = 10.0
BRIEF_MAX = 3
COUNTING = "counting goes on and tallies wait in the spool"


class Link:
    """Drains a spool to the broker while its context lasts.

    Parameters
    ----------
    broker : BrokerSection
        Where the broker is and how to sign in.
    site, station : str
        Whose tallies these are.
    spool : Spool
        What is drained.
    health : callable
        Returns the station's health; called in the link's thread.
    say : callable
        Told one line for each change of state.
    patience : Patience
        How long to wait for what.
    answer : callable, optional
        Returns the answer to a question; see `Delivery`. Called in the link's thread.

    Raises
    ------
    Mistake
        If the password or the certificate cannot be read.
    """

    def __init__(
        self,
        broker: BrokerSection,
        site: str,
        station: str,
        spool: Spool,
        health: Callable[[], Health],
        say: Callable[[str], None],
        patience: Patience = PATIENT,
        answer: Answer | None = None,
    ) -> None:
        self._answer = answer
        self._door, self._budget = Door(broker, site, station), Budget(broker.most_bytes_per_s)
        self._where, self._name = f"broker {broker.host}:{broker.port}", f"{site}/{station}"
        self._spool, self._health, self._say, self._patience = spool, health, say, patience
        self._thread = ThreadPoolExecutor(1, "link")
        self._running: Future[None] | None = None
        self._stop, self._news = Event(), Event()
        self._stop_by_s = 0.0
        self._state = ""
        self._heard = False
        self._brief = 0
        self._malformed: bytes | None = None
        self._retry_s = patience.retry_s

    def __enter__(self) -> Self:
        self._running = self._thread.submit(self._run)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.shutdown()

    def check(self) -> None:
        """Raise what ended the link's thread, if something did."""
        if self._running is not None and self._running.done():
            self._running.result()

    def report(self) -> None:
        """Let the station's health go out now: it is news."""
        self._news.set()

    def finish(self, wait_s: float) -> None:
        """Wait until every tally is receipted, at most `wait_s`, then say that the station stopped, and why."""
        self._stop_by_s = time.monotonic() + wait_s
        self._stop.set()
        if self._running is not None:
            self._running.result()

    def _run(self) -> None:
        while not self._is_over():
            with closing(Session(self._door)) as session:
                self._try(session)
            self._rest()

    def _try(self, session: Session) -> None:
        try:
            session.open()
        except OSError as error:
            self._brief = 0
            self._tell("unreachable", f"{self._where} cannot be reached ({error.strerror or error}); {COUNTING}")
        else:
            self._serve(session)

    def _is_over(self) -> bool:
        if not self._stop.is_set():
            return False
        return time.monotonic() >= self._stop_by_s or (self._heard and not self._spool.pending(1))

    def _serve(self, session: Session) -> None:
        delivery = Delivery(session, self._spool, self._health, self._patience, self._budget, self._answer)
        brief_until_s = time.monotonic() + BRIEF_S
        while session.step(TICK_S):
            if self._news.is_set():
                self._news.clear()
                delivery.report()
            if session.accepted and not self._deliver(session, delivery):
                self._tell("stuck", f"{self._where} does not acknowledge what it is sent; {COUNTING}")
                return
            if self._is_over():
                self._take_leave(session)
                return
            if time.monotonic() > brief_until_s:
                self._brief = 0
        self._brief += session.acknowledged and time.monotonic() <= brief_until_s
        self._tell(*self._end_of(session))

    def _deliver(self, session: Session, delivery: Delivery) -> bool:
        if session.acknowledged:
            self._heard = True
            if self._brief < BRIEF_MAX:
                self._tell("up", f"{self._where} takes tallies")
            self._retry_s = self._patience.retry_s
        for payload in session.arrived():
            self._receive(payload)
            delivery.receipted()
        for question in session.asked():
            delivery.ask(question)
        return delivery.step(time.monotonic())

    def _receive(self, payload: bytes) -> None:
        try:
            receipt = decode(payload, Receipt)
        except MalformedMessage as error:
            if payload != self._malformed:
                self._say(f"{self._where} sent a receipt that is none ({error}); ignored")
            self._malformed = payload
        else:
            self._spool.received(receipt.boot, receipt.through)

    def _take_leave(self, session: Session) -> None:
        if not session.accepted:
            return
        stopped = replace(self._health(), state=StationState.STOPPED)
        session.publish(Subject.HEALTH, encode(stopped), time.monotonic())
        while 0.0 < session.unacknowledged_s(time.monotonic()) < FAREWELL_S and session.step(TICK_S):
            for payload in session.arrived():
                self._receive(payload)

    def _end_of(self, session: Session) -> tuple[str, str]:
        if session.refusal is not None:
            way_out = "check username and password_file"
            return "refused", f"{self._where} refuses the station ({session.refusal}); {way_out}; {COUNTING}"
        if not session.accepted:
            return "mute", f"{self._where} does not answer as an MQTT broker; check host and port; {COUNTING}"
        if self._brief >= BRIEF_MAX:
            rival = f"another client may be using the name {self._name}; give each station a name of its own"
            return "rival", f"{self._where} lets the station in and drops it again and again; {rival}; {COUNTING}"
        return "lost", f"{self._where}: the connection was lost; {COUNTING}"

    def _tell(self, state: str, line: str) -> None:
        if state != self._state:
            self._say(line)
        self._state = state

    def _rest(self) -> None:
        if self._stop.wait(self._retry_s):
            time.sleep(TICK_S)
        self._retry_s = min(2.0 * self._retry_s, self._patience.retry_max_s)
