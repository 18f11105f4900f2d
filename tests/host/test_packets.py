from collections.abc import Sequence

import paho.mqtt.client as mqtt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_host.intake import Arrival
from swapbell_host.wire import packets
from swapbell_host.wire.packets import MalformedPacket

PINGRESP = b"\xd0\x00"
# PUBLISH, QoS 1, number 10, topic a/b: the example of MQTT 3.1.1 section 3.3.2, with a payload of two bytes.
A_B = b"\x32\x09\x00\x03a/b\x00\x0ahi"

TOPICS = st.text("abc/é", min_size=1, max_size=200)
PAYLOADS = st.binary(max_size=300)


def taken(raw: bytes) -> tuple[list[Arrival], bytes, bytes]:
    """Return the messages, the other packets, and what is left."""
    waiting = bytearray(raw)
    arrivals, others = packets.take(waiting)
    return arrivals, others, bytes(waiting)


def test_a_message_is_read() -> None:
    assert taken(A_B) == ([Arrival("a/b", b"hi", retained=False, mid=10)], b"", b"")


def test_a_retained_message_says_so() -> None:
    assert taken(b"\x33" + A_B[1:])[0][0].retained


def test_a_message_that_wants_no_acknowledgement_has_no_number() -> None:
    assert taken(b"\x30\x07\x00\x03a/bhi")[0] == [Arrival("a/b", b"hi")]


def test_other_packets_pass_as_they_are() -> None:
    assert taken(PINGRESP + A_B + PINGRESP)[1] == 2 * PINGRESP


def test_an_unfinished_packet_waits() -> None:
    assert taken(PINGRESP + A_B[:-1]) == ([], PINGRESP, A_B[:-1])


def test_an_acknowledgement_carries_the_number() -> None:
    assert packets.puback(0x1234) == b"\x40\x02\x12\x34"


@pytest.mark.parametrize("raw", [b"\x30\xff\xff\xff\xff\x01", b"\x30\x03\x00\x09a", b"\x32\x05\x00\x03a/b"])
def test_what_is_no_packet_is_malformed(raw: bytes) -> None:
    with pytest.raises(MalformedPacket):
        taken(raw)


def test_a_topic_that_is_no_text_is_still_a_message() -> None:
    assert taken(b"\x30\x03\x00\x01\xff")[0] == [Arrival("�", b"")]


@given(st.lists(st.tuples(TOPICS, PAYLOADS, st.booleans()), max_size=5), st.data())
def test_however_bytes_are_cut_the_messages_are_the_same(
    sent: list[tuple[str, bytes, bool]], data: st.DataObject
) -> None:
    raw = b"".join(packets.publish(topic, payload, retain=retain) for topic, payload, retain in sent)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(raw)), max_size=6)))
    assert received(pieces(raw, cuts)) == [Arrival(topic, payload, retain) for topic, payload, retain in sent]


def pieces(raw: bytes, cuts: list[int]) -> Sequence[bytes]:
    return [raw[begin:end] for begin, end in zip([0, *cuts], [*cuts, len(raw)], strict=True)]


def received(parts: Sequence[bytes]) -> list[Arrival]:
    waiting, found = bytearray(), list[Arrival]()
    for part in parts:
        waiting += part
        found += packets.take(waiting)[0]
    assert not waiting
    return found


class Written:
    """A socket that keeps what paho sends."""

    def __init__(self) -> None:
        self.sent = b""

    def close(self) -> None:
        """Have nothing to close."""

    def send(self, buffer: bytes) -> int:
        self.sent += buffer
        return len(buffer)


@given(TOPICS, st.binary(max_size=20_000), st.booleans())
def test_a_message_is_written_as_paho_writes_it(topic: str, payload: bytes, retain: bool) -> None:
    client, written = mqtt.Client(CallbackAPIVersion.VERSION2), Written()
    client._sock = written  # type: ignore[assignment]
    client.publish(topic, payload, 0, retain)
    assert packets.publish(topic, payload, retain=retain) == written.sent
