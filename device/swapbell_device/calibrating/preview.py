"""The preview on request: a small web server for one browser, from the standard library."""

import sys
from collections.abc import Callable, Generator, Mapping
from contextlib import contextmanager
from functools import partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import IPv4Address, IPv6Address, ip_address
from math import isfinite
from socket import AF_INET, AF_INET6, socket
from socketserver import BaseServer, TCPServer
from threading import Event, Thread
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs

from swapbell_device.calibrating import previewpage
from swapbell_device.calibrating.clicking import clicks
from swapbell_device.calibrating.door import Door, Keys
from swapbell_device.calibrating.sitting import Sitting
from swapbell_models.fault import Breakdown, Mistake

COOKIE = "swapbell-preview"
# Our choice: our forms take a hundredth of it, and our pages come at once.
FORM_MAX_BYTES, QUIET_S = 4096, 10.0
STRANGER = "This address is good for one browser, once. Stop swapbell-device calibrate on the board and begin again."
Address = tuple[IPv4Address | IPv6Address, int]
Fields = dict[str, str]
HEADERS = {
    "Content-Type": "text/html; charset=utf-8",
    "Content-Security-Policy": previewpage.POLICY,
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


class Room:
    """What every visit meets.

    Parameters
    ----------
    sitting, keys
        What is shown, and what opens it.
    over : Event
        Set when the calibration has been written.
    """

    def __init__(self, sitting: Sitting, keys: Keys, over: Event) -> None:
        self.sitting, self.form, self.ticket, self.over = sitting, keys.form, keys.ticket, over
        self.door = Door(keys)

    def page(self, path: str) -> str | None:
        """Return the page of that path; nothing if there is none."""
        if path == "/sides":
            return previewpage.sides_page(self.form)
        if path not in ("/", "/held"):
            return None
        return previewpage.now_page(self.sitting.look(), self.form, str(self.sitting.out), held=path == "/held")


class Visit(BaseHTTPRequestHandler):
    """One request."""

    server_version, sys_version = "swapbell", ""
    timeout = QUIET_S

    def __init__(self, room: Room, request: socket, client: object, server: BaseServer) -> None:
        self._room = room
        super().__init__(request, client, server)

    def do_GET(self) -> None:
        """Let a browser in, or show it a page."""
        path = self.path.partition("?")[0]
        if path.startswith("/enter/"):
            self._enter(path.removeprefix("/enter/"))
        elif not self._room.door.knows(self._ticket()):
            self._tell(403, "Not for this browser", STRANGER)
        elif (page := self._room.page(path)) is None:
            self._tell(404, "No such page", "There is only the preview.")
        else:
            self._send(200, page)

    def do_POST(self) -> None:
        """Take a form of ours."""
        fields = self._fields()
        if not self._room.door.sent(self._ticket(), fields.get("form", "")):
            self._tell(403, "Not for this browser", STRANGER)
        elif self.path == "/write":
            self._write(fields)
        elif (act := ACTS.get(self.path)) is None:
            self._tell(404, "No such form", "There is only the preview.")
        else:
            self._act(act, fields)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  (the library's name)
        """Say nothing: the terminal is for the person who calibrates."""

    def _act(self, act: Callable[[Sitting, Fields], None], fields: Fields) -> None:
        try:
            act(self._room.sitting, fields)
        except Mistake as mistake:
            self._send(200, previewpage.sides_page(self._room.form, str(mistake)))
        else:
            self._lead_back()

    def _write(self, fields: Fields) -> None:
        try:
            said = self._room.sitting.write(int(_number(fields.get("number"))))
        except (Mistake, Breakdown) as fault:
            self._send(409, previewpage.told_page("Nothing was written", [str(fault)], again=True))
        else:
            self._send(200, previewpage.told_page("Written; you may close this page", said))
            self._room.over.set()

    def _enter(self, token: str) -> None:
        if self._room.door.enter(token, self._ticket()):
            # Lax: somebody who clicks the address in a mail comes from elsewhere; forms have a word of their own.
            self._lead_back({"Set-Cookie": f"{COOKIE}={self._room.ticket}; HttpOnly; SameSite=Lax; Path=/"})
        else:
            self._tell(403, "Not for this browser", STRANGER)

    def _lead_back(self, headers: Mapping[str, str] = MappingProxyType({})) -> None:
        self._answer(303, {"Location": "/", **headers}, b"")

    def _tell(self, code: int, title: str, line: str) -> None:
        self._send(code, previewpage.told_page(title, [line]))

    def _send(self, code: int, text: str) -> None:
        self._answer(code, HEADERS, text.encode())

    def _answer(self, code: int, headers: Mapping[str, str], body: bytes) -> None:
        self.send_response(code)
        for name, value in (*headers.items(), ("Content-Length", str(len(body)))):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def _ticket(self) -> str:
        """Return what the browser shows; cookies know no ports (RFC 6265), so others stand beside ours."""
        pairs = (pair.strip().partition("=") for pair in self.headers.get("Cookie", "").split(";"))
        return next((value for name, _, value in pairs if name == COOKIE), "")

    def _fields(self) -> Fields:
        """Return what a form says; nothing if it is too long to be ours."""
        length = int(_number(self.headers.get("Content-Length")))
        if not 0 < length <= FORM_MAX_BYTES:
            return {}
        sent = self.rfile.read(length).decode("utf-8", "replace")
        return {name: values[-1] for name, values in parse_qs(sent, keep_blank_values=True).items()}


def _begin(sitting: Sitting, fields: Fields) -> None:
    sitting.begin(clicks(fields.get("length", ""), fields.get("width", "")))


def _click(sitting: Sitting, fields: Fields) -> None:
    """Take a point; a browser on whose picture a key is pressed says 0, 0, which is none."""
    point = _number(fields.get("at.x")), _number(fields.get("at.y"))
    if point != (0.0, 0.0):
        sitting.click(point)


ACTS: dict[str, Callable[[Sitting, Fields], None]] = {
    "/begin": _begin,
    "/click": _click,
    "/back": lambda sitting, _: sitting.take_back(),
    "/card": lambda sitting, _: sitting.begin(None),
}


def _number(text: str | None) -> float:
    """Return what a browser says as a number; -1 if it is none."""
    try:
        number = float(text or "")
    except ValueError:
        return -1.0
    return number if isfinite(number) else -1.0


class _Server(ThreadingHTTPServer):
    def __init__(self, at: Address, room: Room) -> None:
        host, port = str(at[0]), at[1]
        self.address_family = AF_INET6 if ":" in host else AF_INET
        super().__init__((host, port), partial(Visit, room))

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing of a browser that has gone away meanwhile; anything else is a defect."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)

    def server_bind(self) -> None:
        """Bind without asking the network for this machine's name, as the library would."""
        TCPServer.server_bind(self)


@contextmanager
def serving(at: Address, sitting: Sitting, keys: Keys, over: Event) -> Generator[int]:
    """Serve a sitting on threads of their own, and yield the port.

    Raises
    ------
    Mistake
        If nobody can listen there.
    """
    try:
        server = _Server(at, Room(sitting, keys, over))
    except OSError as error:
        raise Mistake(f"--listen: {at[0]} port {at[1]}: {error.strerror}; choose another with --listen") from error
    with server:
        Thread(target=server.serve_forever, name="preview", daemon=True).start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()


def address(text: str) -> Address:
    """Return the address and port of a text such as ``127.0.0.1:8074`` or ``[::1]:8074``.

    Raises
    ------
    Mistake
        If it is none.
    """
    host, _, port = text.rpartition(":")
    try:
        found = ip_address(host.strip("[]")), int(port)
    except ValueError:
        found = None
    if found is None or not 0 <= found[1] <= 65535:  # noqa: PLR2004  (TCP's ports)
        raise Mistake(
            f"--listen: give an address and a port, such as 127.0.0.1:8074 or [::1]:8074, not {text[:60]!r}"
        )
    return found
