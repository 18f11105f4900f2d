"""One connection to the page: it must get on in either direction, and a crowd of one address leaves room for others.

A client that drips its request, or sips its answer, would hold one of a few hundred places for nothing. So a request
must be whole within a stated time, and both keep a least pace that a photo reaches over a weak mobile link.
"""

import asyncio
import sys
from collections import defaultdict
from collections.abc import Iterable
from fcntl import ioctl
from termios import TIOCOUTQ
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from swapbell_host.page.access.tries import neighbourhood

# Our choice: a phone at the edge of its network sends the head of a request within it; long ones have longer, by what
# their bytes take at the least pace.
HEAD_S = 10.0
# Our choice: a photo of 5 MB takes a minute or two from the far end of an orchard.
WHOLE_S = 300.0
# Our choice: half of what the oldest packet radio sends upwards in practice, some 32 kbit/s.
LEAST_BYTES_PER_S = 2_000.0
# Our choice: somebody walks through a dead spot, and it goes on.
SLOW_S = 30.0
# How often a connection is looked at; our choice: a few hundred of them cost nothing.
PULSE_S = 1.0
# Our choice: far more than all who look after one host's stations.
AT_ONCE_MAX = 200


class Loop(asyncio.SelectorEventLoop):
    """A loop whose servers wait no longer for the beginning of encryption than for the head of a request."""

    async def create_server(self, *given: Any, **more: Any) -> asyncio.Server:
        """Begin to listen, as any loop does."""
        if more.get("ssl"):
            more["ssl_handshake_timeout"] = HEAD_S
        server: asyncio.Server = await super().create_server(*given, **more)
        return server


class Connection(H11Protocol):
    """As uvicorn has it, but ended where it does not get on, or where its address has the most and others come."""

    def connection_made(self, transport: Any) -> None:
        """Begin to look at its pace, and make room."""
        super().connection_made(transport)
        self.since_s = self.loop.time()
        self._came = self._asked_bytes = self._unsent = 0
        self._asking_s = self._owed_bytes = 0.0
        self._looking = self.loop.call_later(PULSE_S, self._look)
        make_room(each for each in self.connections if isinstance(each, Connection))

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop looking."""
        self._looking.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Count what comes."""
        self._came += len(data)
        self._asked_bytes += len(data)
        super().data_received(data)

    def on_response_complete(self) -> None:
        """Begin with the next request."""
        self._asking_s, self._asked_bytes = 0.0, 0
        super().on_response_complete()

    def _look(self) -> None:
        self._looking = self.loop.call_later(PULSE_S, self._look)
        asks = self.conn.their_state in {h11.IDLE, h11.SEND_BODY} and not self._must_wait()
        self._asking_s += PULSE_S * asks
        self._reckon(sends=asks and self.conn.their_state is h11.SEND_BODY)
        if self._asking_s >= self._patience_s() or self._owed_bytes >= LEAST_BYTES_PER_S * SLOW_S:
            self.transport.abort()

    def _must_wait(self) -> bool:
        """Tell whether it cannot send, for the page does not read yet, or for it takes an answer."""
        return self.flow.read_paused or self.conn.they_are_waiting_for_100_continue or self._unsent > 0

    def _reckon(self, *, sends: bool) -> None:
        """Add up by how much it is behind the least pace, in what it sends or in what it takes."""
        before, self._unsent = self._unsent, _unsent(self.transport)
        moved, self._came = self._came if sends else before - self._unsent, 0
        owes = sends or (before > 0 and self._unsent > 0)
        self._owed_bytes = max(0.0, self._owed_bytes + LEAST_BYTES_PER_S * PULSE_S - max(moved, 0)) if owes else 0.0

    def _patience_s(self) -> float:
        """Return how long a request may take: little for its head, and for a body that was answered already."""
        if self.conn.their_state is h11.IDLE:
            return min(HEAD_S + self._asked_bytes / LEAST_BYTES_PER_S, WHOLE_S)
        return WHOLE_S if self.conn.our_state is not h11.DONE else HEAD_S


def _unsent(transport: asyncio.Transport) -> int:
    """Return how much of what was written the other side has not taken yet, here and in the kernel (tcp(7))."""
    try:
        kept = ioctl(transport.get_extra_info("socket").fileno(), TIOCOUTQ, bytes(4))
    except OSError:  # it is closed already
        return 0
    return transport.get_write_buffer_size() + int.from_bytes(kept, sys.byteorder)


def make_room(connections: Iterable[Connection]) -> None:
    """End the oldest connection of whichever address has the most, where there are too many."""
    crowds = defaultdict[str, list[Connection]](list)
    for each in connections:
        if not each.transport.is_closing() or each.transport.get_write_buffer_size():
            crowds[neighbourhood(each.client[0] if each.client else "")].append(each)
    if sum(map(len, crowds.values())) > AT_ONCE_MAX:
        crowd = max(crowds.values(), key=lambda all_: (len(all_), -_oldest(all_).since_s))
        _oldest(crowd).transport.abort()


def _oldest(crowd: list[Connection]) -> Connection:
    return min(crowd, key=lambda each: each.since_s)
