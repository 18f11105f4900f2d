"""Brokers that misbehave to a script: each connection is answered by the given bytes and then dropped."""

import socket
import threading
from types import TracebackType
from typing import Self

# MQTT 3.1.1 section 3.2: accepted, and refused with return code 5, not authorized.
CONNACK_ACCEPTED = bytes([0x20, 2, 0, 0])
CONNACK_NOT_AUTHORIZED = bytes([0x20, 2, 0, 5])


class CrookedBroker:
    """Listens on loopback while its context lasts.

    Parameters
    ----------
    answer : bytes
        Said to every client once it has spoken.
    hears_bytes : int
        How much of what follows is read before the connection is reset.
    """

    def __init__(self, answer: bytes, hears_bytes: int = 0) -> None:
        self.connections = 0
        self.heard = b""
        self._answer, self._hears_bytes = answer, hears_bytes
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            self.connections += 1
            with client:
                client.settimeout(5.0)
                self._talk(client)

    def _talk(self, client: socket.socket) -> None:
        try:
            client.recv(1024)
            client.sendall(self._answer)
            heard = 0
            while heard < self._hears_bytes:
                piece = client.recv(min(7, self._hears_bytes - heard))
                self.heard += piece
                heard += len(piece) or self._hears_bytes
        except OSError:
            return
