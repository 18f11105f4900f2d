"""How a station answers for its evidence: piece by piece, behind its tallies, never beyond its link's budget."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from listener import Listener, eventually
from mosquitto_child import Broker
from spooled import opened, tally

from swapbell_device.config import BrokerSection
from swapbell_device.evidence.answering import answer
from swapbell_device.evidence.store import Store
from swapbell_device.linking.budget import AROUND_BYTES, SPARE_MAX_BYTES, Budget
from swapbell_device.linking.delivery import ASKED_MAX, Delivery, Patience
from swapbell_device.linking.link import Link
from swapbell_device.spooling.spool import Spool
from swapbell_models.evidence import Answer, Found, Label, Piece, Question, Refused, Seek, Want
from swapbell_models.message import PAYLOAD_MAX_BYTES, Health, StationState, Subject, decode, encode, topic

PATIENCE = Patience(resend_s=30.0, resend_max_s=100.0, health_s=math.inf)
CLIP = Label(201, "north", "b1", 60.0, None).name
CONTENT = bytes(range(256)) * 400


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store(tmp_path / "evidence", 10**7, print, free_bytes=0)
    for order in range(1, 201):
        store.keep(strip(order), b"x")
    part = store.part(CLIP)
    part.mkdir()
    (part / "clip.mp4").write_bytes(CONTENT)
    (part / "about.json").write_text("{}")
    store.finish(part, CLIP)
    return store


def strip(order: int) -> str:
    return f"{order:08d}.strip.north.b1.1000ms.free.{order}.in.wasp.13-0mm"


def answered(store: Store | None, wants: Seek | Want, most: int = SPARE_MAX_BYTES) -> Found | Piece | Refused:
    payload = answer(encode(Question(id="q1", wants=wants)), most, "north", store)
    assert payload is not None
    read = decode(payload, Answer)
    assert (read.id, read.station) == ("q1", "north")
    return read.gives


@pytest.mark.parametrize("most", [1, 900, 5000, SPARE_MAX_BYTES])
def test_a_file_comes_whole_whatever_one_message_may_hold(store: Store, most: int) -> None:
    content, size = bytearray(), len(CONTENT) if most > 1 else 100
    while len(content) < size:
        given_ = answered(store, Want(item=CLIP, file="clip.mp4", offset=len(content)), most)
        assert isinstance(given_, Piece)
        assert (given_.offset, given_.size) == (len(content), len(CONTENT))
        content += given_.data
    assert bytes(content) == CONTENT[: len(content)]


@pytest.fixture(scope="module")
def full_store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = Store(tmp_path_factory.mktemp("store"), 10**7, print, free_bytes=0)
    for order in range(1, 100):
        store.keep(strip(order), CONTENT)
    return store


@given(most=st.integers(600, SPARE_MAX_BYTES))
def test_no_answer_is_longer_than_it_may_be(full_store: Store, most: int) -> None:
    for wants in (Seek(), Want(item=strip(99), file=f"{strip(99)}.jpg", offset=3)):
        payload = answer(encode(Question(id="q1", wants=wants)), most, "north", full_store)
        assert payload is not None
        assert len(payload) <= most <= PAYLOAD_MAX_BYTES


@pytest.mark.parametrize("most", [1, 2000, SPARE_MAX_BYTES])
def test_a_list_comes_whole_whatever_one_message_may_hold(store: Store, most: int) -> None:
    names, after, more = list[str](), 190, True
    while more:
        found = answered(store, Seek(after=after), most)
        assert isinstance(found, Found)
        names += [item.name for item in found.items]
        after, more = int(names[-1].partition(".")[0]), found.more
    assert names == [*map(strip, range(191, 201)), CLIP]


def test_what_is_not_kept_is_refused_with_the_reason(store: Store) -> None:
    given_ = answered(store, Want(item=CLIP, file="times.txt", offset=0))
    assert given_ == Refused(reason=f"{CLIP} is not kept, or no more: the oldest make room")


def test_a_station_without_evidence_says_so() -> None:
    given_ = answered(None, Seek())
    assert given_ == Refused(reason="station north keeps no evidence; its device.toml needs an [evidence] first")


@pytest.mark.parametrize("payload", [b"", b"{}", b"\xff", b'{"v":1,"id":"q1","wants":{"what":"coffee"}}'])
def test_what_is_no_question_gets_no_answer(store: Store, payload: bytes) -> None:
    assert answer(payload, 1000, "north", store) is None


class Recorder:
    """A wire that writes down what is sent and acknowledges at once."""

    def __init__(self) -> None:
        self.sent: list[tuple[Subject, int]] = []

    def unacknowledged_s(self, _now_s: float) -> float:
        return 0.0

    def publish(self, subject: Subject, payload: bytes, _now_s: float) -> None:
        self.sent.append((subject, len(payload)))


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    with opened(tmp_path / "spool.sqlite") as held:
        yield held


def well() -> Health:
    return Health(station="north", state=StationState.WATCHING)


def full(_question: bytes, most_bytes: int) -> bytes:
    return b"a" * most_bytes


def delivery(wire: Recorder, spool: Spool, bytes_per_s: float | None = None) -> Delivery:
    return Delivery(wire, spool, well, PATIENCE, Budget(bytes_per_s), full)


def test_an_answer_goes_out_behind_every_tally_that_is_due(spool: Spool) -> None:
    wire = Recorder()
    sender = delivery(wire, spool)
    for seq in range(1, 4):
        spool.put(tally(seq))
    sender.ask(b"q1")
    sender.step(0.0)
    assert [subject for subject, _ in wire.sent] == [Subject.HEALTH, *[Subject.TALLY] * 3, Subject.ANSWER]


def test_an_answer_waits_until_the_purse_is_full_and_takes_half_of_it(spool: Spool) -> None:
    wire = Recorder()
    sender = delivery(wire, spool, 400.0)
    spool.put(tally(1))
    sender.ask(b"q1")
    sender.step(0.0)
    assert [subject for subject, _ in wire.sent] == [Subject.HEALTH, Subject.TALLY]
    sender.step(10.0)
    assert wire.sent[2:] == [(Subject.ANSWER, 400 * 10 // 2 - AROUND_BYTES)]


@pytest.mark.parametrize("bytes_per_s", [100.0, 1000.0, 20_000.0])
def test_a_station_that_is_asked_all_day_stays_within_its_budget(spool: Spool, bytes_per_s: float) -> None:
    wire = Recorder()
    sender = delivery(wire, spool, bytes_per_s)
    for tenth in range(3000):
        sender.ask(f"q{tenth}".encode())
        sender.step(tenth / 10)
    answers = [length + AROUND_BYTES for subject, length in wire.sent if subject is Subject.ANSWER]
    assert 0.4 * bytes_per_s * 300.0 <= sum(answers) <= bytes_per_s * (300.0 + 10.0)


def test_a_question_that_is_repeated_while_it_waits_is_answered_once(spool: Spool) -> None:
    wire = Recorder()
    sender = delivery(wire, spool)
    for _ in range(3):
        sender.ask(b"q1")
    for second in range(5):
        sender.step(float(second))
    assert [subject for subject, _ in wire.sent].count(Subject.ANSWER) == 1


def test_a_flood_of_questions_costs_a_few_answers(spool: Spool) -> None:
    wire = Recorder()
    sender = delivery(wire, spool)
    for n in range(1000):
        sender.ask(f"q{n}".encode())
        sender.ask(f"q{n}".encode())
    for tenth in range(100):
        sender.step(tenth / 10)
    assert sum(subject is Subject.ANSWER for subject, _ in wire.sent) == ASKED_MAX


@pytest.mark.part("mosquitto")
def test_only_the_station_that_was_asked_answers_through_the_broker(
    broker: Broker, spool: Spool, store: Store, tmp_path: Path
) -> None:
    section = BrokerSection(host="127.0.0.1", port=broker.port)
    heard: list[str] = []

    def named(name: str) -> "Link":
        def reply(question: bytes, most: int) -> bytes | None:
            heard.append(name)
            return answer(question, most, name, store)

        held = spool if name == "north" else other
        return Link(section, "orchard", name, held, well, lambda _line: None, PATIENCE, reply)

    with opened(tmp_path / "other.sqlite") as other, Listener(broker.port) as host, named("north"), named("south"):
        spool.put(tally(1))
        assert host.hears(1)
        host.send(Subject.QUESTION, encode(Question(id="q1", wants=Seek())))
        assert eventually(lambda: heard == ["north"])
    assert topic("orchard", "north", Subject.QUESTION) != topic("orchard", "south", Subject.QUESTION)
