"""The host's end of the broker: batches of messages in, acknowledged only when the caller says so; words out.

MQTT 3.1.1 with a session that the broker keeps while the host is away. One thread: the network moves only inside
`batches`, so whatever arrives waits in a list and nothing is called from elsewhere.
"""

import ssl
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from typing import NamedTuple, Self

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from swapbell_host.config import BrokerSection
from swapbell_host.intake import Arrival
from swapbell_host.wire import packets
from swapbell_host.wire.line import LineClient
from swapbell_host.wire.signing import sign_in
from swapbell_models.fault import Mistake
from swapbell_models.message import ROOT, Subject, encode, topic

# Our choice: what comes within a twentieth of a second is written down in one transaction, for one flush of the disk.
GATHER_S = 0.05
BATCH_MAX = 500
# Our choice: a broker that waits for acknowledgements is not kept waiting; most brokers send some 20 to 100 without.
PAUSE_S = 0.01
# Our choice: an idle host looks at its clock twice a second.
IDLE_S = 0.5
# Our choice: a broker that restarts is found again within a second, one that is gone is not pestered.
RETRY_MIN_S = 0.5
RETRY_MAX_S = 30.0
# CONNACK return codes 2, 4 and 5 of MQTT 3.1.1 section 3.2.2.3, as paho names them: no use in trying again unchanged.
# Neither is there where the broker's access list keeps the stations from us.
NO_LEAVE = "no leave to hear the stations"
# Nor where the broker is not one that our certificate vouches for.
NO_TRUST = "no encryption that ca_file vouches for"
REFUSALS = {"Client identifier not valid", "Bad user name or password", "Not authorized", NO_LEAVE, NO_TRUST}


class Batch(NamedTuple):
    """What came in one go, and by which connection: an acknowledgement means nothing on another one."""

    arrivals: list[Arrival]
    connection: int


def _utc() -> datetime:
    return datetime.now(UTC)


class Subscriber:
    """A client of the broker, signed up for the tallies and healths of some sites.

    Parameters
    ----------
    broker : BrokerSection
        Where the broker is and how to sign in.
    sites : iterable of str
        All their stations are heard, also those that the configuration does not name.
    now : callable
        Returns the time, aware UTC.

    Attributes
    ----------
    listening_since : datetime or None
        Since when the broker has let us listen without a break, aware UTC; nothing while it does not.

    Raises
    ------
    Mistake
        If the password or the certificate cannot be read.
    """

    def __init__(self, broker: BrokerSection, sites: Iterable[str], now: Callable[[], datetime] = _utc) -> None:
        self.listening_since: datetime | None = None
        self._broker = broker
        self._now = now
        self._filters = [
            (f"{ROOT}/{site}/+/{subject.value}", 1)
            for site in sorted(set(sites))
            for subject in (Subject.HEALTH, Subject.TALLY)
        ]
        self._client = self._make_client()
        self._connection = 0
        self._refusal: str | None = None
        self._retry_s = RETRY_MIN_S
        self._next_try = 0.0
        self._said = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_write()

    @property
    def connection(self) -> int:
        """Return how many times the broker has let us listen."""
        return self._connection

    def batches(self, stop: threading.Event) -> Iterator[Batch]:
        """Yield what arrives, at least every half second an empty batch, until `stop` is set.

        Raises
        ------
        Mistake
            If the broker refuses the very first connection.
        """
        while not stop.is_set():
            self._gather(stop)
            yield self._take()

    def ack(self, batch: Batch) -> None:
        """Tell the broker that the batch is safe here; the broker repeats what was not acknowledged."""
        if batch.connection == self._connection and self._client.line:
            self._client.line.send(b"".join(packets.puback(each.mid) for each in batch.arrivals if each.mid))

    def show(self, site: str, station: str, subject: Subject, message: msgspec.Struct) -> None:
        """Publish, retained, how something stands: now or not at all, for it is soon said again.

        A session's old messages come before the broker has answered our subscription: their receipts are due already.
        """
        self.keep(topic(site, station, subject), encode(message))

    def keep(self, name: str, payload: bytes) -> None:
        """Publish anything, retained, as `show` does; an empty payload takes away what was kept."""
        if self._client.is_connected() and self._client.line:
            self._client.line.send(packets.publish(name, payload, retain=True))

    def call(self, site: str, station: str, subject: Subject, message: msgspec.Struct) -> None:
        """Publish what is said once: as soon as the broker can be reached."""
        self._client.publish(topic(site, station, subject), encode(message), 1)

    def _gather(self, stop: threading.Event) -> None:
        """Wait for a first message, then for more as long as they come without a pause."""
        until = time.monotonic() + IDLE_S
        while (left := until - time.monotonic()) > 0.0 and self._waiting() < BATCH_MAX and not stop.is_set():
            before = self._waiting()
            self._turn(min(left, PAUSE_S) if before else left, stop)
            if before == 0 and self._waiting():
                until = time.monotonic() + GATHER_S
            elif before == self._waiting() > 0:
                return

    def _waiting(self) -> int:
        return len(self._client.line.arrivals) if self._client.line else 0

    def _take(self) -> Batch:
        if self._client.line is None:
            return Batch([], self._connection)
        waiting = self._client.line.arrivals
        arrivals, waiting[:BATCH_MAX] = waiting[:BATCH_MAX], []
        return Batch(arrivals, self._connection)

    def _turn(self, left_s: float, stop: threading.Event) -> None:
        if self._client.line is None:
            self._call(left_s, stop)
        elif not self._client.turn(left_s):
            self._lose("connection lost")

    def _call(self, left_s: float, stop: threading.Event) -> None:
        wait_s = self._next_try - time.monotonic()
        if wait_s > 0.0:
            stop.wait(min(wait_s, left_s))
            return
        try:
            self._client.connect(self._broker.host, self._broker.port, keepalive=60)
        except ssl.SSLError as error:
            self._refusal = NO_TRUST
            self._lose(str(error))
        except OSError as error:
            self._lose(f"cannot be reached ({error.strerror or error})")

    def _lose(self, why: str) -> None:
        self.listening_since = None
        if self._refusal in REFUSALS and self._connection == 0:
            raise Mistake(f"broker {self._name}: refuses us: {self._refusal}; check [broker] in the configuration")
        self._refusal, why = None, f"refuses us: {self._refusal}" if self._refusal else why
        self._say(f"{why}; trying again until it takes us")
        self._next_try = time.monotonic() + self._retry_s
        self._retry_s = min(2.0 * self._retry_s, RETRY_MAX_S)

    def _say(self, words: str) -> None:
        if words != self._said:
            sys.stderr.write(f"broker {self._name}: {words}\n")
            sys.stderr.flush()
        self._said = words

    @property
    def _name(self) -> str:
        return f"{self._broker.host}:{self._broker.port}"

    def _make_client(self) -> LineClient:
        broker = self._broker
        client = LineClient(broker.client)
        sign_in(client, broker)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        return client

    def _on_connect(
        self,
        client: mqtt.Client,
        _data: object,
        _flags: mqtt.ConnectFlags,
        code: ReasonCode,
        _more: Properties | None,
    ) -> None:
        if code.is_failure:
            self._refusal = str(code)
            return
        client.subscribe(self._filters)

    def _on_subscribe(
        self, client: mqtt.Client, _data: object, _mid: int, codes: list[ReasonCode], _more: Properties | None
    ) -> None:
        if any(code.is_failure for code in codes):
            self._refusal = NO_LEAVE
            client.disconnect()
            return
        self._connection += 1
        self.listening_since = self._now()
        self._retry_s = RETRY_MIN_S
        self._say("listening to the stations")
