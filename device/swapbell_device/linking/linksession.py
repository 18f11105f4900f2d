"""One connection to the broker, from its first packet until it ends; nothing of it outlives it.

MQTT 3.1.1 with a clean session: what must not be lost is in the spool, not in a client's or a broker's memory. One
thread: the network moves only inside `step`, and what arrives waits in lists until it is fetched.
"""

import ssl
import struct
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from swapbell_device.config import BrokerSection, password
from swapbell_device.linking.delivery import WINDOW
from swapbell_models.fault import Mistake
from swapbell_models.message import Health, StationState, Subject, encode, topic

# Our choice: a link that died without a word is noticed, and the last will told, within a minute.
KEEPALIVE_S = 30
QOS_AT_LEAST_ONCE = 1
HEARD = (Subject.RECEIPT, Subject.QUESTION)
# What paho raises besides OSError when the other end speaks no MQTT.
NO_MQTT = (ValueError, IndexError, struct.error)


class Door:
    """Where the broker is and how this station signs in; read once, so that a mistake is told at the start.

    Parameters
    ----------
    broker : BrokerSection
        The `[broker]` of the configuration.
    site, station : str
        Whose topics these are.
    guest : str, optional
        Who else calls in the station's name, beside its counter; nobody need hear that it is gone.

    Raises
    ------
    Mistake
        If the password or the certificate cannot be read.
    """

    def __init__(self, broker: BrokerSection, site: str, station: str, guest: str | None = None) -> None:
        self.host, self.port = broker.host, broker.port
        self.station = station
        self.is_guest = guest is not None
        self.client_id = "-".join(["swapbell", site, station, *([guest] if guest else [])])
        self.topics = {subject: topic(site, station, subject) for subject in Subject}
        self.username, self.password = broker.username, password(broker)
        self.tls = _tls(broker)


class Session:
    """One connection.

    Attributes
    ----------
    accepted
        The broker has let the station in.
    refusal
        Why it has not, in its words.
    acknowledged
        It has taken a first message: not every port that accepts a connection is a broker that works.
    """

    def __init__(self, door: Door) -> None:
        self.accepted = False
        self.refusal: str | None = None
        self.acknowledged = False
        self._sent_s: dict[int, float] = {}
        self._arrived: list[bytes] = []
        self._asked: list[bytes] = []
        self._door = door
        self._client = self._make_client()

    def unacknowledged_s(self, now_s: float) -> float:
        """Return for how long the broker owes an acknowledgement [s]; 0 if it owes none."""
        return now_s - min(self._sent_s.values(), default=now_s)

    def open(self) -> None:
        """Knock at the broker.

        Raises
        ------
        OSError
            If nobody answers.
        """
        self._client.connect(self._door.host, self._door.port, KEEPALIVE_S)

    def step(self, patience_s: float) -> bool:
        """Send and receive for a while; return whether the connection still stands."""
        try:
            return self._client.loop(patience_s) is MQTTErrorCode.MQTT_ERR_SUCCESS
        except NO_MQTT:
            return False

    def publish(self, subject: Subject, payload: bytes, now_s: float) -> None:
        """Send a message at least once; health stays on the broker for whoever comes later."""
        retain = subject is Subject.HEALTH
        sent = self._client.publish(self._door.topics[subject], payload, QOS_AT_LEAST_ONCE, retain)
        self._sent_s[sent.mid] = now_s

    def arrived(self) -> list[bytes]:
        """Return the receipts that arrived since the last time, as they came."""
        arrived, self._arrived = self._arrived, []
        return arrived

    def asked(self) -> list[bytes]:
        """Return the questions that arrived since the last time, as they came."""
        asked, self._asked = self._asked, []
        return asked

    def close(self) -> None:
        """Take leave, so that the broker does not tell the last will, and let go of everything at once."""
        client = self._client
        client.disconnect()
        if (still_open := client.socket()) is not None:
            still_open.close()
        # Without these the client and the session would hold each other, and open sockets, until a collection.
        client.on_connect = client.on_publish = client.on_message = None

    def _make_client(self) -> mqtt.Client:
        door = self._door
        client = mqtt.Client(CallbackAPIVersion.VERSION2, door.client_id, reconnect_on_failure=False)
        client.username_pw_set(door.username, door.password)
        if door.tls is not None:
            untyped: Any = client  # paho does not say what a context is
            untyped.tls_set_context(door.tls)
        if not door.is_guest:
            last_will = Health(station=door.station, state=StationState.LOST)
            client.will_set(door.topics[Subject.HEALTH], encode(last_will), QOS_AT_LEAST_ONCE, retain=True)
        client.max_inflight_messages_set(WINDOW)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        return client

    def _on_connect(
        self, client: mqtt.Client, _: Any, __: mqtt.ConnectFlags, reason: ReasonCode, ___: Properties | None
    ) -> None:
        if reason.is_failure:
            self.refusal = reason.getName()
            return
        self.accepted = True
        if not self._door.is_guest:
            client.subscribe([(self._door.topics[subject], QOS_AT_LEAST_ONCE) for subject in HEARD])

    def _on_publish(self, _: mqtt.Client, __: Any, mid: int, ___: ReasonCode, ____: Properties) -> None:
        self.acknowledged = True
        self._sent_s.pop(mid, None)

    def _on_message(self, _: mqtt.Client, __: Any, message: mqtt.MQTTMessage) -> None:
        is_question = message.topic == self._door.topics[Subject.QUESTION]
        (self._asked if is_question else self._arrived).append(bytes(message.payload))


def _tls(broker: BrokerSection) -> ssl.SSLContext | None:
    if broker.ca_file is None:
        return None
    try:
        return ssl.create_default_context(cafile=broker.ca_file)
    except OSError as error:
        raise Mistake(
            f"broker.ca_file {broker.ca_file}: {error}; it must hold the authority's certificate"
        ) from error
