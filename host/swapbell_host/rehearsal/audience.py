"""What anyone may hear of one station on the broker: its tallies, its standing, its notices.

The rehearsal's view and its clock live on this and on nothing else, so that they see no more than a dashboard would.
"""

import threading
from dataclasses import dataclass, field
from datetime import UTC, datetime

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_host.rehearsal.broker import LOOPBACK
from swapbell_models.message import ROOT, NoticeMessage, Standing, Subject, address, decode
from swapbell_models.tally import Tally


@dataclass(slots=True)
class Heard:
    """What was heard so far; tallies and notices once each, in the order of their arrival."""

    tallies: dict[tuple[str, int], Tally] = field(default_factory=dict[tuple[str, int], Tally])
    notices: dict[int, NoticeMessage] = field(default_factory=dict[int, NoticeMessage])
    standing: Standing | None = None

    def began_at(self) -> datetime | None:
        """Return the start of the earliest tally, or None before the first."""
        return min((tally.from_at for tally in list(self.tallies.values())), default=None)

    def ended_at(self) -> datetime | None:
        """Return the end of the latest tally, or None before the first."""
        return max((tally.to_at for tally in list(self.tallies.values())), default=None)


class Audience:
    """A listener on the broker; a context that lasts as long as it listens.

    Parameters
    ----------
    port : int
        TCP port of the broker on loopback.
    site, station : str
        Whom to listen to.
    """

    def __init__(self, port: int, site: str, station: str) -> None:
        self.heard = Heard()
        self._port = port
        self._filter = f"{ROOT}/{site}/{station}/#"
        self._listening = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = self._subscribe
        self._client.on_subscribe = self._start
        self._client.on_message = self._hear

    def __enter__(self) -> "Audience":
        self._client.connect(LOOPBACK, self._port)
        self._client.loop_start()
        self._listening.wait(timeout=10.0)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def now(self) -> datetime:
        """Return the station's time: the end of its latest tally; before the first, this machine's time."""
        return self.heard.ended_at() or datetime.now(UTC)

    def _subscribe(self, client: Client, *_: object) -> None:
        client.subscribe(self._filter, qos=1)

    def _start(self, *_: object) -> None:
        self._listening.set()

    def _hear(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        match address(message.topic).subject:
            case Subject.TALLY:
                tally = decode(message.payload, Tally)
                self.heard.tallies[tally.boot, tally.seq] = tally
            case Subject.NOTICE:
                notice = decode(message.payload, NoticeMessage)
                self.heard.notices.setdefault(notice.id, notice)
            case Subject.STANDING:
                self.heard.standing = decode(message.payload, Standing)
            case _:
                pass
