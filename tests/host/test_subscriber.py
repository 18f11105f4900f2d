import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from crooked_broker import CONNACK_ACCEPTED, CONNACK_NOT_AUTHORIZED, CrookedBroker
from mosquitto_child import Broker, free_port
from orchard import Party, tally, topic_of

from swapbell_host.config import BrokerSection
from swapbell_host.intake import Arrival
from swapbell_host.wire.subscriber import BATCH_MAX, Batch, Subscriber
from swapbell_models.fault import Mistake
from swapbell_models.message import Receipt, Subject, encode

MOSQUITTO = pytest.mark.part("mosquitto")
# Our choice: an idle subscriber yields twice a second; this is half a minute of nothing.
BATCHES_MAX = 60


class Reader:
    """A subscriber whose batches are taken until something has come."""

    def __init__(self, subscriber: Subscriber) -> None:
        self.subscriber = subscriber
        self.stop = threading.Event()
        self._batches = subscriber.batches(self.stop)

    def until(self, enough: Callable[[], bool], taken: Callable[[Batch], None] = lambda _: None) -> None:
        for _ in range(BATCHES_MAX):
            taken(next(self._batches))
            if enough():
                return
        raise AssertionError("it never came")

    def take(self, count: int, *, ack: bool = True) -> list[Arrival]:
        found: list[Arrival] = []

        def keep(batch: Batch) -> None:
            found.extend(batch.arrivals)
            if ack:
                self.subscriber.ack(batch)

        self.until(lambda: len(found) >= count, keep)
        return found

    def connect(self, times: int = 1) -> None:
        self.until(lambda: self.subscriber.connection >= times)


@contextmanager
def reading(port: int, **broker: str) -> Iterator[Reader]:
    with Subscriber(BrokerSection(host="127.0.0.1", port=port, **broker), ["orchard"]) as subscriber:
        yield Reader(subscriber)


def seqs(arrivals: list[Arrival]) -> list[int]:
    return [int(arrival.payload.partition(b'"seq":')[2].partition(b",")[0]) for arrival in arrivals]


@MOSQUITTO
def test_messages_come_in_batches_in_their_order(broker: Broker) -> None:
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        for seq in range(1, 21):
            station.send(tally(seq))
        assert seqs(reader.take(20)) == list(range(1, 21))


@MOSQUITTO
def test_a_batch_is_bounded(broker: Broker) -> None:
    with reading(broker.port) as reader:
        reader.connect()
    with Party(broker.port) as station:
        for seq in range(1, BATCH_MAX + 101):
            station.send(tally(seq))
    sizes: list[int] = []
    with reading(broker.port) as reader:

        def take(batch: Batch) -> None:
            sizes.append(len(batch.arrivals))
            reader.subscriber.ack(batch)

        reader.until(lambda: sum(sizes) == BATCH_MAX + 100, take)
    assert max(sizes) <= BATCH_MAX


@MOSQUITTO
def test_what_is_sent_while_the_host_is_away_waits(broker: Broker) -> None:
    with reading(broker.port) as reader:
        reader.connect()
    with Party(broker.port) as station:
        station.send(tally(1))
    with reading(broker.port) as reader:
        assert seqs(reader.take(1)) == [1]


@MOSQUITTO
def test_what_was_not_acknowledged_comes_again(broker: Broker) -> None:
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        station.send(tally(1))
        reader.take(1, ack=False)
    with reading(broker.port) as reader:
        assert seqs(reader.take(1)) == [1]


@MOSQUITTO
def test_what_was_acknowledged_does_not_come_again(broker: Broker) -> None:
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        station.send(tally(1))
        reader.take(1)
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        station.send(tally(2))
        assert seqs(reader.take(1)) == [2]


@MOSQUITTO
def test_an_acknowledgement_means_nothing_to_a_broker_that_came_back(broker: Broker) -> None:
    held: list[Batch] = []
    with reading(broker.port) as reader:
        reader.connect()
        with Party(broker.port) as station:
            station.send(tally(1))
        reader.until(lambda: any(batch.arrivals for batch in held), held.append)
        broker.restart()
        reader.connect(times=2)
        with Party(broker.port) as station:
            station.send(tally(2))
            for batch in held:
                reader.subscriber.ack(batch)
            reader.take(1, ack=False)
    with reading(broker.port) as reader:
        assert seqs(reader.take(1)) == [2]


@MOSQUITTO
def test_a_message_that_wants_no_acknowledgement_gets_none(broker: Broker) -> None:
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        station.shout(topic_of(Subject.TALLY), encode(tally(1)))
        reader.take(1)
        station.send(tally(2))
        assert seqs(reader.take(1)) == [2]
        assert reader.subscriber.connection == 1


@MOSQUITTO
def test_ten_megabytes_do_not_stop_the_others(broker: Broker) -> None:
    with reading(broker.port) as reader, Party(broker.port) as station:
        reader.connect()
        station.send_raw(topic_of(Subject.TALLY), b" " * 10_000_000)
        station.send(tally(1))
        first, second = reader.take(2)
    assert (len(first.payload), seqs([second])) == (10_000_000, [1])


@MOSQUITTO
def test_what_is_shown_stays_for_whoever_comes_later(broker: Broker) -> None:
    with reading(broker.port) as reader:
        reader.connect()
        reader.subscriber.show("orchard", "north", Subject.RECEIPT, Receipt(boot="b1", through=3))
    with Party(broker.port) as station:
        station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 3)


@MOSQUITTO
def test_it_knows_since_when_it_has_been_listening_without_a_break(broker: Broker) -> None:
    with reading(broker.port) as reader:
        assert reader.subscriber.listening_since is None
        reader.connect()
        first = reader.subscriber.listening_since
        broker.kill()
        reader.until(lambda: reader.subscriber.listening_since is None)
        broker.start()
        reader.connect(times=2)
        second = reader.subscriber.listening_since
    assert first
    assert second
    assert first < second


@MOSQUITTO
def test_what_is_said_once_waits_for_the_broker(broker: Broker) -> None:
    broker.kill()
    with reading(broker.port) as reader:
        reader.subscriber.call("orchard", "north", Subject.RECEIPT, Receipt(boot="b1", through=3))
        broker.start()
        with Party(broker.port) as station:
            reader.connect()
            station.wait_for(Subject.RECEIPT, Receipt, lambda receipt: receipt.through == 3)


@MOSQUITTO
def test_a_broker_that_comes_and_goes_is_told_in_a_line_each(
    broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    where = f"broker 127.0.0.1:{broker.port}: "
    with reading(broker.port) as reader:
        reader.connect()
        broker.restart()
        reader.connect(times=2)
    said = capsys.readouterr().err.splitlines()
    assert said[0] == where + "listening to the stations"
    assert said[-1] == where + "listening to the stations"
    assert all(line.startswith(where) and "trying again" in line for line in said[1:-1])
    assert len(said) == len(set(said)) + 1


def test_a_broker_that_is_not_there_is_tried_again_and_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    port = free_port()
    with reading(port) as reader:
        for _ in range(3):
            assert next(reader.subscriber.batches(reader.stop)).arrivals == []
    assert capsys.readouterr().err == (
        f"broker 127.0.0.1:{port}: cannot be reached (Connection refused); trying again until it takes us\n"
    )


def test_a_broker_that_refuses_us_at_once_is_a_mistake() -> None:
    refused = pytest.raises(Mistake, match=r"refuses us: Not authorized; check \[broker\]")
    with CrookedBroker(CONNACK_NOT_AUTHORIZED) as crooked, reading(crooked.port) as reader, refused:
        reader.connect()


def test_a_broker_that_lets_us_hear_nothing_is_a_mistake() -> None:
    suback_of_refusal = bytes([0x90, 4, 0, 1, 0x80, 0x80])
    refused = pytest.raises(Mistake, match="refuses us: no leave to hear the stations")
    with CrookedBroker(CONNACK_ACCEPTED + suback_of_refusal) as crooked, reading(crooked.port) as reader, refused:
        reader.connect()


def test_a_broker_that_talks_nonsense_is_tried_again(capsys: pytest.CaptureFixture[str]) -> None:
    endless_length = bytes([0x30, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF])
    with CrookedBroker(CONNACK_ACCEPTED + endless_length) as crooked, reading(crooked.port) as reader:
        reader.until(lambda: crooked.connections >= 2)
    assert "connection lost; trying again" in capsys.readouterr().err


def test_a_broker_that_drops_us_in_the_middle_of_a_message_is_tried_again(
    capsys: pytest.CaptureFixture[str],
) -> None:
    half_a_publish = bytes([0x32, 100, 0, 4]) + b"swap"
    with CrookedBroker(CONNACK_ACCEPTED + half_a_publish) as crooked, reading(crooked.port) as reader:
        reader.until(lambda: crooked.connections >= 2)
    assert "connection lost; trying again" in capsys.readouterr().err


def test_what_comes_before_the_subscription_is_answered_gets_its_receipt_at_once() -> None:
    name = topic_of(Subject.TALLY).encode()
    old_message = bytes([0x32, len(name) + 5, 0, len(name)]) + name + bytes([0, 1]) + b"x"
    with CrookedBroker(CONNACK_ACCEPTED + old_message, 1000) as crooked, reading(crooked.port) as reader:
        reader.take(1)
        reader.subscriber.show("orchard", "north", Subject.RECEIPT, Receipt(boot="b1", through=3))
        reader.until(lambda: topic_of(Subject.RECEIPT).encode() in crooked.heard)


@pytest.mark.parametrize("key", ["password_file", "ca_file"])
def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, key: str) -> None:
    missing = str(tmp_path / "missing")
    with pytest.raises(Mistake, match="missing: cannot be read"), reading(1, username="host", **{key: missing}):
        pass


def test_a_stopped_subscriber_yields_no_more() -> None:
    with reading(free_port()) as reader:
        reader.stop.set()
        assert list(reader.subscriber.batches(reader.stop)) == []
