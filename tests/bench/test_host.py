"""What a message costs the host, all the way from the broker to a receipt, as a ratio to paho that only listens."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from mosquitto_child import Broker
from orchard import SITE, tally, visits
from paho.mqtt.enums import CallbackAPIVersion
from pytest_benchmark.fixture import BenchmarkFixture

from swapbell_host import rules
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.config import BrokerSection
from swapbell_host.judging.history import History
from swapbell_host.rota import Rota
from swapbell_host.wire.subscriber import Subscriber
from swapbell_models.message import Subject, encode, topic
from swapbell_models.notice import Notice
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.tally import Tally

pytestmark = pytest.mark.part("mosquitto")

STATIONS = [f"s{number}" for number in range(100)]
MESSAGES = 20_000
# The trade's rule in the middle of its range: ten visits in five minutes are a crossing in each tally.
CROSSINGS = visits(7.0)
EACH_S = 15.0

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


def wait_at(broker: Broker, name: str) -> None:
    """Leave all messages at the broker for the client of this name."""
    subscribed = threading.Event()
    client = mqtt.Client(CallbackAPIVersion.VERSION2, name, clean_session=False)
    client.on_connect = lambda client, *_: client.subscribe(f"swapbell/1/{SITE}/+/tally", 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert subscribed.wait(10.0)
    client.disconnect()
    client.loop_stop()
    lines = (f"{topic(SITE, each.station, Subject.TALLY)} ".encode() + encode(each) for each in counted())
    subprocess.run([sys.executable, "-c", FEEDER, str(broker.port)], input=b"\n".join(lines), check=True)


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
def opened(port: int, name: str, folder: Path) -> Iterator[tuple[Ledger, Subscriber]]:
    """Open what a host opens once in its life."""
    phases = {(SITE, station): Phase.LURING for station in STATIONS}
    section = BrokerSection(host="127.0.0.1", port=port, client=name)
    with (
        Ledger(ledger_url(str(folder / "ledger.sqlite")), phases, datetime.now(UTC)) as ledger,
        Subscriber(section, [SITE]) as subscriber,
    ):
        ready = History(SITE, "s0", Phase.LURING, tuple(tally(seq, crossings=CROSSINGS) for seq in range(1, 61)))
        assert judge(ready, ready.tallies[-1].to_at)  # brings SciPy into memory
        yield ledger, subscriber


def host(ledger: Ledger, subscriber: Subscriber, *, judging: bool) -> None:
    """Receive, read, tell apart, write down, acknowledge, send receipts and perhaps judge, as `serve` does."""
    left, now = MESSAGES, datetime.now(UTC)
    rota = Rota(((SITE, station) for station in STATIONS), time.monotonic())
    for batch in subscriber.batches(threading.Event()):
        recorded = ledger.record(batch.arrivals, now)
        subscriber.ack(batch)
        for site, station, receipt in recorded.receipts:
            subscriber.show(site, station, Subject.RECEIPT, receipt)
        for who in rota.due(recorded.stations, time.monotonic()) if judging else ():
            judge(ledger.history(*who, now), now)
        left -= len(batch.arrivals)
        if not left:
            return


def judge(history: History, now: datetime) -> list[Notice]:
    """Judge a station as the host's loop does."""
    rule = Rule()
    return rules.news(rules.verdict(history, now, rule), history, now, rule, now)


def cpu_us(work: Callable[[], None]) -> float:
    """Return what the work costs a message [us of processor time]."""
    before_s = time.process_time()
    work()
    return (time.process_time() - before_s) / MESSAGES * 1e6


@pytest.mark.parametrize("judging", [False, True], ids=["to-the-receipt", "to-the-verdict"])
def test_full_path(broker: Broker, tmp_path: Path, benchmark: BenchmarkFixture, judging: bool) -> None:
    wait_at(broker, "bare")
    bare_us = cpu_us(lambda: listen(broker.port, "bare"))
    wait_at(broker, "full")
    pedantic: Callable[..., float] = benchmark.pedantic
    with opened(broker.port, "full", tmp_path) as (ledger, subscriber):
        full_us = pedantic(cpu_us, args=[lambda: host(ledger, subscriber, judging=judging)], rounds=1)
    benchmark.extra_info.update(bare_us=bare_us, full_us=full_us, ratio=full_us / bare_us)
    way = "to the verdict" if judging else "to the receipt"
    sys.stdout.write(f"\n{way} {full_us:.1f} us a message, bare paho {bare_us:.1f}: {full_us / bare_us:.2f}\n")
