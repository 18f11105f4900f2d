"""The packets of MQTT 3.1.1 that come and go by the thousand, read and written as bytes.

Layout by OASIS, MQTT Version 3.1.1 (2014): fixed header section 2.2, PUBLISH 3.3, PUBACK 3.4.
"""

from swapbell_host.intake import Arrival

PUBLISH = 0x30
RETAIN = 0x01
PUBACK = b"\x40\x02"
LENGTH_MAX_BYTES = 4
# What of a length's byte counts, and the bit that says that another follows.
DIGIT, MORE = 0x7F, 0x80
EXACTLY_ONCE = 2


class MalformedPacket(ValueError):
    """Bytes that are no packet: the connection is of no further use."""


def take(raw: bytearray) -> tuple[list[Arrival], bytes]:
    """Take the whole packets from the front of what came: messages read, all other packets as they are.

    Parameters
    ----------
    raw : bytearray
        What came so far; an unfinished packet stays in it.

    Raises
    ------
    MalformedPacket
        If it holds something that is no packet.
    """
    if _body(raw, 0) is None:
        return [], b""
    whole, at = bytes(raw), 0
    arrivals: list[Arrival] = []
    others: list[bytes] = []
    while body := _body(whole, at):
        if whole[at] & 0xF0 == PUBLISH and _qos(whole[at]) < EXACTLY_ONCE:
            arrivals.append(_message(whole, whole[at], *body))
        else:
            others.append(whole[at : body[1]])
        at = body[1]
    del raw[:at]
    return arrivals, b"".join(others)


def puback(mid: int) -> bytes:
    """Return the acknowledgement of a message."""
    return PUBACK + mid.to_bytes(2, "big")


def publish(topic: str, payload: bytes, *, retain: bool) -> bytes:
    """Return a message that asks for no acknowledgement (QoS 0)."""
    name = topic.encode()
    length = 2 + len(name) + len(payload)
    header = bytearray([PUBLISH | RETAIN if retain else PUBLISH])
    while length > DIGIT:
        header.append(length & DIGIT | MORE)
        length >>= 7
    header.append(length)
    return b"".join((header, len(name).to_bytes(2, "big"), name, payload))


def _body(raw: bytes | bytearray, at: int) -> tuple[int, int] | None:
    """Return where the packet's body begins and where it ends, or nothing while it has not come whole."""
    length, shift, came = 0, 0, len(raw)
    for place in range(at + 1, min(at + 1 + LENGTH_MAX_BYTES, came)):
        byte = raw[place]
        length |= (byte & DIGIT) << shift
        if byte < MORE:
            stop = place + 1 + length
            return (place + 1, stop) if stop <= came else None
        shift += 7
    if came > at + LENGTH_MAX_BYTES:
        raise MalformedPacket("a packet's length has more than four bytes")
    return None


def _message(raw: bytes, first: int, body: int, stop: int) -> Arrival:
    topic_end = body + 2 + int.from_bytes(raw[body : body + 2], "big")
    payload = topic_end + 2 if _qos(first) else topic_end
    if payload > stop:
        raise MalformedPacket("a message's topic is longer than the message")
    mid = int.from_bytes(raw[topic_end:payload], "big")
    return Arrival(raw[body + 2 : topic_end].decode(errors="replace"), raw[payload:stop], bool(first & RETAIN), mid)


def _qos(first: int) -> int:
    return first >> 1 & 0b11
