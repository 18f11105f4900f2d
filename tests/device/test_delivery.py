"""What is sent on one connection, and when."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spooled import opened, tally

from swapbell_device.linking.budget import AROUND_BYTES, BURST_S, Budget
from swapbell_device.linking.delivery import Delivery, Patience
from swapbell_device.spooling.spool import Spool
from swapbell_models.message import Health, StationState, Subject, decode
from swapbell_models.tally import Tally

PATIENCE = Patience(resend_s=30.0, resend_max_s=100.0, health_s=60.0)


class Recorder:
    """A wire that writes down what is sent, and acknowledges at once unless it is told not to."""

    def __init__(self) -> None:
        self.owed_since_s = math.inf
        self.sent: list[tuple[Subject, bytes]] = []

    def unacknowledged_s(self, now_s: float) -> float:
        return max(0.0, now_s - self.owed_since_s)

    def publish(self, subject: Subject, payload: bytes, now_s: float) -> None:
        self.sent.append((subject, payload))

    def seqs(self) -> list[int]:
        """Return the tallies sent since the last look."""
        sent, self.sent = self.sent, []
        return [decode(payload, Tally).seq for subject, payload in sent if subject is Subject.TALLY]


def well() -> Health:
    return Health(station="north", state=StationState.WATCHING)


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    with opened(tmp_path / "spool.sqlite") as held:
        yield held


@pytest.fixture
def wire() -> Recorder:
    return Recorder()


@pytest.fixture
def delivery(spool: Spool, wire: Recorder) -> Delivery:
    return Delivery(wire, spool, well, PATIENCE)


def test_a_tally_is_sent_once_while_its_receipt_may_still_come(
    spool: Spool, wire: Recorder, delivery: Delivery
) -> None:
    spool.put(tally(1))
    delivery.step(0.0)
    assert wire.seqs() == [1]
    spool.put(tally(2))
    delivery.step(29.9)
    assert wire.seqs() == [2]


def test_what_stays_without_a_receipt_is_sent_again_at_growing_intervals(
    spool: Spool, wire: Recorder, delivery: Delivery
) -> None:
    spool.put(tally(1))
    again_s: list[float] = []
    for now_s in range(400):
        delivery.step(float(now_s))
        again_s += [now_s for _ in wire.seqs()]
    assert again_s == [0, 30, 90, 190, 290, 390]


def test_a_receipt_makes_it_eager_again(spool: Spool, wire: Recorder, delivery: Delivery) -> None:
    spool.put(tally(1))
    spool.put(tally(2))
    delivery.step(0.0)
    delivery.step(30.0)
    wire.seqs()
    spool.received("b1", 1)
    delivery.receipted()
    delivery.step(60.0)
    assert wire.seqs() == [2]


def test_a_broker_that_acknowledges_nothing_is_not_fed_again(
    spool: Spool, wire: Recorder, delivery: Delivery
) -> None:
    spool.put(tally(1))
    wire.owed_since_s = 0.0
    assert delivery.step(0.0)
    assert delivery.step(29.0)
    assert not delivery.step(30.0)
    assert wire.seqs() == [1]


def test_an_acknowledgement_that_is_only_a_little_late_stops_nothing(
    spool: Spool, wire: Recorder, delivery: Delivery
) -> None:
    spool.put(tally(1))
    delivery.step(0.0)
    wire.owed_since_s = 29.0
    assert delivery.step(30.0)
    assert wire.seqs() == [1, 1]


def test_health_is_told_at_once_and_every_minute(wire: Recorder, delivery: Delivery) -> None:
    for now_s in range(121):
        delivery.step(float(now_s))
    assert [subject for subject, _ in wire.sent] == [Subject.HEALTH] * 3


def test_a_small_budget_sends_what_is_live_first_and_the_backlog_as_it_can(spool: Spool, wire: Recorder) -> None:
    for seq in range(1, 201):
        spool.put(tally(seq))
    size = max(len(entry.payload) for entry in spool.pending(200)) + AROUND_BYTES
    delivery = Delivery(wire, spool, well, PATIENCE, Budget(size / 2.0))
    sent = [seq for second in range(200) for seq in (delivery.step(float(second)), wire.seqs())[1]]
    assert set(sent[:60]) == set(range(141, 201))
    assert sent[60:] == sorted(sent[60:])
    assert 90 <= len(sent) <= BURST_S / 2.0 + 100 + 1


def test_without_a_limit_everything_is_sent_at_once(spool: Spool, wire: Recorder, delivery: Delivery) -> None:
    for seq in range(1, 101):
        spool.put(tally(seq))
    delivery.step(0.0)
    assert len(wire.seqs()) == 100


@given(st.lists(st.tuples(st.floats(0.0, 20.0), st.integers(1, 5000)), min_size=1), st.floats(100.0, 1e5))
def test_a_budget_never_sends_more_than_its_rate_and_one_burst(
    asked: list[tuple[float, int]], bytes_per_s: float
) -> None:
    budget, now_s, sent, longest = Budget(bytes_per_s), 0.0, 0, 0
    for wait_s, size in asked:
        now_s += wait_s
        if budget.take(size, now_s):
            sent, longest = sent + size + AROUND_BYTES, max(longest, size + AROUND_BYTES)
    assert sent <= bytes_per_s * (now_s + BURST_S) + longest + 1e-6
