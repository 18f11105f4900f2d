"""A host's ear at the broker: hears a station's tallies and health, and receipts them if it is told to."""

import time
from collections.abc import Callable
from typing import Any, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_models.message import Health, Receipt, Subject, decode, encode, topic
from swapbell_models.tally import Tally

# Our choice: what takes a tenth of a second on an idle machine gets a hundred times that.
PATIENCE_S = 10.0


def eventually(true: Callable[[], bool], patience_s: float = PATIENCE_S) -> bool:
    """Wait until something is true; return whether it became so in time."""
    give_up_s = time.monotonic() + patience_s
    while not true():
        if time.monotonic() > give_up_s:
            return False
        time.sleep(0.02)
    return True


class Listener:
    """Hears station `orchard/north` at a broker on loopback while its context lasts."""

    def __init__(self, port: int, *, receipts: bool = True) -> None:
        self.tallies: list[Tally] = []
        self.healths: list[Health] = []
        self.receipts = receipts
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", port)
        for subject in (Subject.TALLY, Subject.HEALTH):
            self._client.subscribe(topic("orchard", "north", subject), 1)

    def __enter__(self) -> Self:
        self._client.loop_start()
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def seqs(self) -> list[int]:
        """Return the seqs heard, in the order in which they came."""
        return [tally.seq for tally in self.tallies]

    def hears(self, count: int) -> bool:
        """Wait until so many tallies have come."""
        return eventually(lambda: len(self.tallies) >= count)

    def states(self) -> list[str]:
        """Return what the station said of itself, in time order."""
        return [health.state.value for health in self.healths]

    def send(self, subject: Subject, payload: bytes) -> None:
        """Say something on one of the station's topics, retained."""
        self._client.publish(topic("orchard", "north", subject), payload, 1, retain=True)

    def _on_message(self, _: mqtt.Client, __: Any, message: mqtt.MQTTMessage) -> None:
        if message.topic.endswith(Subject.HEALTH.value):
            self.healths.append(decode(message.payload, Health))
            return
        tally = decode(message.payload, Tally)
        self.tallies.append(tally)
        if self.receipts:
            self.send(Subject.RECEIPT, encode(Receipt(boot=tally.boot, through=self._through(tally.boot))))

    def _through(self, boot: str) -> int:
        heard = {tally.seq for tally in self.tallies if tally.boot == boot}
        return next(seq for seq in range(len(heard) + 1) if seq + 1 not in heard)
