"""A paho client that asks the kernel once per batch, where paho itself asks five times per message.

paho reads a packet in three or more calls and sends each acknowledgement by itself; at thousands of messages a second
that is most of the work. Here the socket reads ahead and gathers what is to be sent. Should a later paho make its
socket elsewhere, all stays correct and is only slower; so it is over TLS.
"""

import select
import socket
import ssl
from collections.abc import Callable
from contextlib import suppress

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

# Our choice: some 300 tallies of the usual length.
READ_BYTES = 64 * 1024


class Line(socket.socket):
    """A connected TCP socket that reads ahead, and sends only when flushed.

    Parameters
    ----------
    connected : socket
        Handed over: it cannot be used afterwards.
    """

    def __init__(self, connected: socket.socket) -> None:
        timeout_s = connected.gettimeout()
        super().__init__(fileno=connected.detach())
        self.settimeout(timeout_s)
        self.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._ahead = b""
        self._at = 0
        self._unsent = bytearray()

    def recv(self, bufsize: int, flags: int = 0, /) -> bytes:
        """Return at most `bufsize` bytes of what was read ahead."""
        if self._at == len(self._ahead):
            self._ahead = super().recv(READ_BYTES, flags)
            self._at = 0
        piece = self._ahead[self._at : self._at + bufsize]
        self._at += len(piece)
        return piece

    def pending(self) -> int:
        """Return how many bytes were read ahead [B]."""
        return len(self._ahead) - self._at

    def send(self, data: bytes | bytearray, _flags: int = 0, /) -> int:  # type: ignore[override]  # paho sends bytes
        """Take all of the data for the next flush."""
        self._unsent += data
        return len(data)

    def flush(self) -> bool:
        """Send what the kernel takes; return whether that was all. A lost connection shows at the next reading."""
        if self._unsent:
            with suppress(OSError):
                del self._unsent[: super().send(self._unsent)]
        return not self._unsent

    def close(self) -> None:
        """Send what is left and close."""
        self.flush()
        super().close()


class LineClient(mqtt.Client):
    """A client of MQTT 3.1.1 that its owner drives by `turn`.

    Parameters
    ----------
    name : str
        Under which the broker keeps messages for it.
    """

    def __init__(self, name: str) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2, name, clean_session=False, protocol=mqtt.MQTTv311, manual_ack=True
        )
        # Having this hook at all tells paho to leave the writing to us.
        self.on_socket_register_write = _leave_it_to_us

    def turn(self, wait_s: float, full: Callable[[], bool]) -> bool:
        """Send what waits, read what comes within `wait_s` until `full`; return whether the connection stands."""
        line = self.socket()
        if line is None:
            return False
        sent = self._flush(line)
        readable, writable, _ = select.select([line], [] if sent else [line], [], 0.0 if _pending(line) else wait_s)
        if writable:
            self._flush(line)
        if readable or _pending(line):
            self.loop_read()
            while _pending(line) and not full() and self.socket() is line:
                self.loop_read()
        self.loop_misc()
        return self.socket() is line

    def _flush(self, line: object) -> bool:
        self.loop_write()
        return line.flush() if isinstance(line, Line) else not self.want_write()

    def _create_socket_connection(self) -> socket.socket:
        return Line(super()._create_socket_connection())


def _leave_it_to_us(_client: mqtt.Client, _data: object, _line: object) -> None:
    pass


def _pending(line: object) -> int:
    return line.pending() if isinstance(line, Line | ssl.SSLSocket) else 0
