"""A whole host with its page, a broker, a mail server and a webhook, at a clock that jumps; all invented, all local.

The host's loop is the real one, in a thread of the test: it is told the time, and the weeks of a job pass in seconds.
"""

import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import paho.mqtt.client as mqtt
from mosquitto_child import Broker, free_port
from paho.mqtt.enums import CallbackAPIVersion
from receivers import Hook, mailbox, webhook
from sqlalchemy.engine import URL

from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.config import parse_config
from swapbell_host.main import serve
from swapbell_models.message import Subject, encode, topic
from swapbell_models.notice import NoticeKind
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

SITE = "orchard"
ZONE = ZoneInfo("Australia/Hobart")
# A summer morning, invented.
BEGAN_AT = datetime(2026, 1, 13, 9, 0, tzinfo=ZONE).astimezone(UTC)
HOST_TOML = """
[broker]
host = "127.0.0.1"
port = {broker}
[page]
listen = "127.0.0.1:{page}"
[alerts]
urls = ["{hook}"]
"""
# A visit now and then.
SELDOM_S = 7200.0
# Our choice: a message comes within seconds; a loaded machine gets ten times that.
PATIENCE_S = 60.0


class Calendar:
    """The time as the host is told it: it runs on by itself, and leaps when told to."""

    def __init__(self, at: datetime) -> None:
        self._at, self._since_s = at, time.monotonic()

    def __call__(self) -> datetime:
        return self._at + timedelta(seconds=time.monotonic() - self._since_s)

    def leap(self, day: int, hour: int, minute: int = 0) -> datetime:
        """Go on to an hour of a day of the story, the first being 1, and return it."""
        begun = BEGAN_AT.astimezone(ZONE)
        there = begun.replace(hour=hour, minute=minute) + timedelta(days=day - 1)
        assert there > self()
        self._at, self._since_s = there.astimezone(UTC), time.monotonic()
        return self._at

    def pass_by(self, **span: float) -> None:
        """Let some time go."""
        self._at += timedelta(**span)


@dataclass
class Counters:
    """What the stations' counters send, one boot each."""

    port: int
    _seqs: dict[str, int] = field(default_factory=dict[str, int])

    def __post_init__(self) -> None:
        """Reach the broker."""
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()

    @property
    def known(self) -> list[str]:
        """The stations that have spoken."""
        return list(self._seqs)

    def watch(
        self, station: str, from_at: datetime, until_at: datetime, every_s: float, step_s: float = 300.0
    ) -> None:
        """Send what a counter sees that is visited once each `every_s` between two moments."""
        last = None
        at = from_at
        while at < until_at:
            sent = encode(self._tally(station, at, every_s, step_s))
            last = self._client.publish(topic(SITE, station, Subject.TALLY), sent, 1)
            at += timedelta(seconds=step_s)
        assert last is not None
        last.wait_for_publish(PATIENCE_S)

    def close(self) -> None:
        """Leave the broker."""
        self._client.disconnect()
        self._client.loop_stop()

    def _tally(self, station: str, at: datetime, every_s: float, step_s: float) -> Tally:
        seq = self._seqs[station] = self._seqs.get(station, 0) + 1
        offset_s = (at - BEGAN_AT).total_seconds() % every_s
        visits_s = [each * every_s - offset_s for each in range(int(step_s / every_s) + 2)]
        crossings = [
            Crossing(at_s=at_s + stay_s, direction=way, size=SizeClass.WASP, length_mm=13.0)
            for at_s in visits_s
            for way, stay_s in ((Direction.IN, 0.0), (Direction.OUT, 2.0))
            if at_s >= 0.0 and at_s + stay_s <= step_s and at_s < step_s
        ]
        up_s = (at - BEGAN_AT).total_seconds()
        return Tally(
            station=station,
            boot="first",
            seq=seq,
            from_at=at,
            up_s=up_s,
            clock=Clock.SYNCED,
            seconds=step_s,
            watched_s=step_s,
            crossings=tuple(sorted(crossings, key=lambda each: each.at_s)),
        )


@dataclass
class Farm:
    """A running host and all around it."""

    folder: Path
    url: str
    now: Calendar
    counters: Counters
    letters: Sequence[EmailMessage]
    hook: type[Hook]
    said: list[str]

    @property
    def ledger(self) -> URL:
        """Where the host keeps what it knows."""
        return ledger_url(str(self.folder / "ledger.sqlite"))

    def leap(self, day: int, hour: int, minute: int = 0) -> datetime:
        """Go on to an hour of a day of the story, at which every counter speaks, and return it."""
        self._settle()
        now = self.now.leap(day, hour, minute)
        for station in self.counters.known:
            self.counters.watch(station, now - timedelta(minutes=5), now, every_s=SELDOM_S)
        return now

    def letter(self, words: str, after: int = 0) -> str:
        """Return the first letter with these words (a regular expression), waiting for it; `after` so many."""
        return self._awaited(words, lambda: [_text(each) for each in self.letters[after:]])

    def noticed(self, kind: NoticeKind, station: str) -> str:
        """Return the open notice of a kind at a station, waiting for it; it may be told with the next round-up."""
        return self._awaited(f"{SITE}/{station}", lambda: self._open(kind), 20.0, tenths=5)

    def posted(self, words: str) -> str:
        """Return the first call of the webhook with these words (a regular expression), waiting for it."""
        return self._awaited(words, lambda: [f"{post['title']} {post['message']}" for post in self.hook.posts])

    def _settle(self) -> None:
        """Wait until the host has noted of all that it sent when it was taken."""
        for _ in range(round(10 * PATIENCE_S)):
            with open_existing(self.ledger) as store:
                if not Tellingbook(store).waiting():
                    return
            time.sleep(0.1)
        raise AssertionError("what was sent is not taken")

    def _open(self, kind: NoticeKind) -> list[str]:
        with open_existing(self.ledger) as store:
            return [each.notice.text for each in Notebook(store).open_notices() if each.notice.kind is kind]

    def _awaited(self, words: str, found: Callable[[], list[str]], minutes: float = 0.52, tenths: int = 20) -> str:
        """Wait in real time, as a message does on its way, with some leaps: the host gathers before it calls."""
        for tenth in range(round(10 * PATIENCE_S)):
            for text in found():
                if re.search(words, text, re.IGNORECASE):
                    return text
            time.sleep(0.1)
            if tenth % tenths == tenths // 2:
                self.now.pass_by(minutes=minutes)
        raise AssertionError(f"nobody was told {words!r} by {self.now():%d %b %H:%M} UTC, but {found()}")


@contextmanager
def running(folder: Path) -> Iterator[Farm]:
    """Run a host with everything around it until the end of the block."""
    (folder / "broker").mkdir()
    broker, port, now, said = Broker(folder / "broker"), free_port(), Calendar(BEGAN_AT), list[str]()
    with mailbox() as (mail_url, letters), webhook() as (hook_url, hook):
        (folder / "mail.url").write_text(mail_url)
        text = HOST_TOML.format(broker=broker.port, page=port, hook=hook_url)
        config, stop = parse_config(text, folder / "host.toml"), threading.Event()
        loop = threading.Thread(target=serve, args=(config, now, stop, said.append))
        loop.start()
        counters = Counters(broker.port)
        try:
            _await(port)
            yield Farm(folder, f"http://127.0.0.1:{port}", now, counters, letters, hook, said)
        finally:
            stop.set()
            loop.join(PATIENCE_S)
            counters.close()
            broker.kill()


def _await(port: int) -> None:
    """Return when something listens at a port."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError("the page does not come")


def _text(letter: EmailMessage) -> str:
    body: Any = letter.get_body(preferencelist=("plain", "html"))
    return f"{letter['subject']}\n{body.get_content()}"
