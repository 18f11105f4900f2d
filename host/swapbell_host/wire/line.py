"""A paho client whose messages pass it by: it connects, signs in, subscribes and keeps alive; we read what comes.

paho asks the kernel five times for each message and does as much work again around it. Here its socket is a `Line`
that reads ahead, keeps whole messages for us and shows paho the other packets only; what is to be sent is gathered
and leaves in one go.
"""

import select
import ssl
from contextlib import suppress

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from swapbell_host.intake import Arrival
from swapbell_host.wire import packets

# Our choice: some 300 tallies of the usual length.
READ_BYTES = 64 * 1024


class Line:
    """A connection to the broker as paho sees a socket; messages are left in `arrivals`.

    Parameters
    ----------
    connection : socket-like
        Connected, plain or encrypted.
    """

    def __init__(self, connection: "mqtt.SocketLike") -> None:
        self.arrivals: list[Arrival] = []
        self._connection = connection
        self._raw = bytearray()
        self._others = bytearray()
        self._unsent = bytearray()
        self._ended = False

    def fileno(self) -> int:
        """Return what `select` waits for."""
        return self._connection.fileno()

    def setblocking(self, flag: bool) -> None:
        """Wait for the kernel or not."""
        self._connection.setblocking(flag)

    def pending(self) -> int:
        """Return how much there is to read for paho [B]; the end of the connection counts as something."""
        return len(self._others) or int(self._ended)

    def recv(self, buffer_size: int) -> bytes:
        """Return at most `buffer_size` bytes of packets that are no messages."""
        if not self._others and not self._ended:
            raise BlockingIOError
        piece = bytes(self._others[:buffer_size])
        del self._others[:buffer_size]
        return piece

    def send(self, buffer: bytes | bytearray) -> int:
        """Take all of the data for the next flush."""
        self._unsent += buffer
        return len(buffer)

    def flush(self) -> bool:
        """Send what the kernel takes; return whether that was all. A lost connection shows at the next reading."""
        if self._unsent:
            with suppress(OSError):
                del self._unsent[: self._connection.send(self._unsent)]
        return not self._unsent

    def fill(self) -> None:
        """Read what has come, and sort it."""
        try:
            came = self._connection.recv(READ_BYTES)
            self._ended = not came
            self._raw += came
            arrivals, others = packets.take(self._raw)
            self.arrivals += arrivals
            self._others += others
        except (BlockingIOError, ssl.SSLWantReadError):
            return
        except (OSError, packets.MalformedPacket):
            self._ended = True

    def is_ready(self) -> bool:
        """Tell whether there is something to read that `select` cannot see."""
        return isinstance(self._connection, ssl.SSLSocket) and self._connection.pending() > 0

    def close(self) -> None:
        """Send what is left and close."""
        self.flush()
        self._connection.close()


class LineClient(mqtt.Client):
    """A client of MQTT 3.1.1 that its owner drives by `turn`.

    Parameters
    ----------
    name : str
        Under which the broker keeps messages for it.

    Attributes
    ----------
    line : Line or None
        The connection, while there is one.
    """

    def __init__(self, name: str) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2, name, clean_session=False, protocol=mqtt.MQTTv311, manual_ack=True
        )
        self._line: Line | None = None
        # Having this hook at all tells paho to leave the writing to us.
        self.on_socket_register_write = _leave_it_to_us

    @property
    def line(self) -> Line | None:
        """Return the connection, while there is one."""
        return self._line if self.socket() is not None else None

    def turn(self, wait_s: float) -> bool:
        """Send what waits and read what comes within `wait_s`; return whether the connection stands."""
        line = self.line
        self.loop_write()
        if line is None or self.line is not line:
            return False
        unsent = [] if line.flush() else [line]
        ready = line.is_ready()
        readable, writable, _ = select.select([line], unsent, [], 0.0 if ready else wait_s)
        if writable:
            line.flush()
        if readable or ready:
            line.fill()
        while line.pending() and self.line is line:
            self.loop_read()
        self.loop_misc()
        return self.line is line

    def _create_socket(self) -> "mqtt.SocketLike":
        self._line = Line(super()._create_socket())
        return self._line


def _leave_it_to_us(_client: mqtt.Client, _data: object, _line: object) -> None:
    pass
