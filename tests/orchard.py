"""A made-up orchard with one station, `north`: its tallies, its healths, and whoever speaks and listens for it."""

import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Self, TypeVar

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_models.message import ROOT, Health, Receipt, Subject, address, decode, encode, topic
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

SITE = "orchard"
STATION = "north"
STATIONS = {(SITE, STATION): Phase.LURING}
# An autumn noon, invented.
NOON_AT = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
TALLY_S = 15.0

Message = TypeVar("Message", bound=msgspec.Struct)


def visits(*at_s: float) -> tuple[Crossing, ...]:
    """Return wasp-sized bodies that come in at these moments of a tally [s]."""
    return tuple(Crossing(at_s=s, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0) for s in at_s)


def tally(seq: int, *, start_at: datetime = NOON_AT, **other: Any) -> Tally:
    """Return the tally `seq` of a boot that started at `start_at` and has reported each 15 s."""
    up_s = TALLY_S * (seq - 1)
    fields: dict[str, Any] = {
        "station": STATION,
        "boot": "b1",
        "seq": seq,
        "from_at": start_at + timedelta(seconds=up_s),
        "up_s": up_s,
        "clock": Clock.SYNCED,
        "seconds": TALLY_S,
        "watched_s": TALLY_S,
    }
    return Tally(**(fields | other))


def topic_of(subject: Subject, station: str = STATION) -> str:
    """Return a topic of the orchard."""
    return topic(SITE, station, subject)


def run_host(config: str) -> None:
    """Run the host in this process, as its command does."""
    from swapbell_host import main  # the forkserver has it in memory already

    main.run_command(Path(config))


class Party:
    """A client of the broker that hears everything in the orchard and may speak for its station.

    Attributes
    ----------
    heard
        Topic and payload of all that came, in order.
    """

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._news = threading.Condition()
        self._subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: client.subscribe(f"{ROOT}/{SITE}/#", 1)
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._subscribed.wait(5.0)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def send(self, message: Tally | Health) -> None:
        """Publish a message of the station as its counter would."""
        subject = Subject.TALLY if isinstance(message, Tally) else Subject.HEALTH
        self.send_raw(topic_of(subject, message.station), encode(message), retain=subject is Subject.HEALTH)

    def send_raw(self, name: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish anything anywhere, and wait until the broker has it."""
        self._client.publish(name, payload, 1, retain).wait_for_publish(5.0)

    def shout(self, name: str, payload: bytes) -> None:
        """Publish without asking whether anyone has it (QoS 0)."""
        self._client.publish(name, payload, 0)

    def wait_for(
        self, subject: Subject, kind: type[Message], such: Callable[[Message], bool], within_s: float = 5.0
    ) -> Message:
        """Return the first message of a kind that satisfies `such`; fail if none comes in time."""
        with self._news:
            self._news.wait_for(lambda: self._first(subject, kind, such), within_s)
            found = self._first(subject, kind, such)
        assert found is not None, f"no such {subject.value}, but {self.said(subject)[-3:]}"
        return found

    def received(self) -> int:
        """Return up to which seq the last receipt of boot `b1` says that all is safe; 0 before the first."""
        receipts = [decode(payload, Receipt) for payload in self.said(Subject.RECEIPT)[-1:]]
        return max((receipt.through for receipt in receipts), default=0)

    def said(self, subject: Subject) -> Sequence[bytes]:
        """Return the payloads of a subject, in order."""
        with self._news:
            return [payload for name, payload in self.heard if address(name).subject is subject]

    def _first(self, subject: Subject, kind: type[Message], such: Callable[[Message], bool]) -> Message | None:
        payloads = [payload for name, payload in self.heard if address(name).subject is subject]
        messages = (msgspec.json.decode(payload, type=kind) for payload in payloads)
        return next((message for message in messages if such(message)), None)

    def _on_message(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._news:
            self.heard.append((message.topic, bytes(message.payload)))
            self._news.notify_all()
