"""What a message costs the host, all the way from the broker to the verdict, as a ratio to paho that only listens.

The host is what `swapbell-host run` runs: it receives, reads, tells apart, writes down durably, acknowledges, sends
receipts, sums, judges, tells and shows. Each round measures both on the same messages, one right after the other, and
the median of the rounds' ratios is told: a machine that others use is never the same for long.
"""

import gc
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from unittest import mock

import paho.mqtt.client as mqtt
import pytest
from mosquitto_child import Broker
from orchard import SITE, tally, visits
from paho.mqtt.enums import CallbackAPIVersion
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_host import rules
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.config import BrokerSection, Config, StationSection
from swapbell_host.judging.history import History
from swapbell_host.main import GC_EACH, serve
from swapbell_host.wire.subscriber import Batch, Subscriber
from swapbell_models.message import Subject, encode, topic
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.tally import Tally

pytestmark = pytest.mark.part("mosquitto")

# Each station sends more than is summed at once.
STATIONS = [f"s{number}" for number in range(80)]
MESSAGES = 40_000
# The trade's rule in the middle of its range: ten visits in five minutes are a crossing in each tally.
CROSSINGS = visits(7.0)
EACH_S = 15.0
ROUNDS = 5

# Sends what it reads on stdin, line by line: topic, blank, payload.
FEEDER = """
import sys
import paho.mqtt.client as mqtt
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
client.max_inflight_messages_set(1000)
client.max_queued_messages_set(0)
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_start()
for line in sys.stdin.buffer:
    topic, _, payload = line.rstrip(b"\\n").partition(b" ")
    last = client.publish(topic.decode(), payload, 1)
last.wait_for_publish(120.0)
client.disconnect()
client.loop_stop()
"""


def counted() -> Iterator[Tally]:
    """Yield what the stations counted until now, quiet and busy ones in turn, in the order of time."""
    each = MESSAGES // len(STATIONS)
    start_at = datetime.now(UTC) - timedelta(seconds=EACH_S * (each + 1))
    for seq in range(1, each + 1):
        for number, station in enumerate(STATIONS):
            yield tally(seq, start_at=start_at, station=station, crossings=CROSSINGS if number % 2 else ())


def wait_at(broker: Broker, *names: str) -> None:
    """Leave all messages at the broker for the clients of these names."""
    for name in names:
        _sign_up(broker, name)
    lines = (f"{topic(SITE, each.station, Subject.TALLY)} ".encode() + encode(each) for each in counted())
    subprocess.run([sys.executable, "-c", FEEDER, str(broker.port)], input=b"\n".join(lines), check=True)


def _sign_up(broker: Broker, name: str) -> None:
    subscribed = threading.Event()
    client = mqtt.Client(CallbackAPIVersion.VERSION2, name, clean_session=False)
    client.on_connect = lambda client, *_: client.subscribe(f"swapbell/1/{SITE}/+/tally", 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert subscribed.wait(10.0)
    client.disconnect()
    client.loop_stop()


def listen(port: int, name: str) -> None:
    """Receive and acknowledge with paho, and do nothing else."""
    left = MESSAGES

    def count(client: mqtt.Client, _data: object, _message: mqtt.MQTTMessage) -> None:
        nonlocal left
        left -= 1
        if not left:
            client.disconnect()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, name, clean_session=False)
    client.on_message = count
    client.connect("127.0.0.1", port)
    client.loop_forever()


@contextmanager
def stopping(stop: threading.Event) -> Iterator[None]:
    """Stop the host when it has acknowledged all messages."""
    left, ack = MESSAGES, Subscriber.ack

    def count(subscriber: Subscriber, batch: Batch) -> None:
        nonlocal left
        ack(subscriber, batch)
        left -= len(batch.arrivals)
        if not left:
            stop.set()

    with mock.patch.object(Subscriber, "ack", count):
        yield


def configured(port: int, name: str, folder: Path) -> Config:
    """Return the configuration of a host with a new ledger of its own."""
    config = Config(
        broker=BrokerSection(host="127.0.0.1", port=port, client=name),
        ledger=str(folder / f"{name}.sqlite"),
        stations=tuple(StationSection(site=SITE, name=station) for station in STATIONS),
    )
    with Ledger(ledger_url(config.ledger), config.phases(), datetime.now(UTC)):
        return config


def host(config: Config) -> None:
    """Run the host from its start to its end."""
    stop, usual = threading.Event(), gc.get_threshold()
    gc.set_threshold(GC_EACH)
    with stopping(stop):
        serve(config, lambda: datetime.now(UTC), stop, say=lambda _: None)
    gc.set_threshold(*usual)


def warm() -> None:
    """Bring into memory what a host has there after its first hour."""
    told = tuple(tally(seq, crossings=CROSSINGS) for seq in range(1, 61))
    ready, now = History(SITE, "s0", Phase.LURING, told), told[-1].to_at
    assert rules.news(rules.verdict(ready, now, Rule()), ready, now, Rule(), now)


def cpu_us(work: Callable[[], None]) -> float:
    """Return what the work costs a message [us of processor time]."""
    before_s = time.process_time()
    work()
    return (time.process_time() - before_s) / MESSAGES * 1e6


def test_full_path(broker: Broker, tmp_path: Path, benchmark: BenchmarkFixture) -> None:
    warm()
    pairs: list[tuple[float, float]] = []

    def round_() -> None:
        n = len(pairs)
        wait_at(broker, f"bare{n}", f"full{n}")
        bare_us = cpu_us(lambda: listen(broker.port, f"bare{n}"))
        config = configured(broker.port, f"full{n}", tmp_path)
        pairs.append((cpu_us(lambda: host(config)), bare_us))

    pedantic: Callable[..., None] = benchmark.pedantic
    pedantic(round_, rounds=ROUNDS)
    ratios = sorted(full_us / bare_us for full_us, bare_us in pairs)
    full_us, bare_us = (median(figures) for figures in zip(*pairs, strict=True))
    benchmark.extra_info.update(bare_us=bare_us, full_us=full_us, ratio=median(ratios))
    span = f"{ratios[0]:.2f} to {ratios[-1]:.2f} in {ROUNDS} rounds"
    told = f"{full_us:.1f} us a message, bare paho {bare_us:.1f}: {median(ratios):.2f} ({span})"
    sys.stdout.write(f"\nto the verdict {told}\n")
