"""Connections that do not get on are ended, and a crowd of one address leaves room for others."""

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from http.client import HTTPConnection
from types import SimpleNamespace
from typing import Any

import pytest
import uvicorn
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import Receive, Scope, Send

from swapbell_host.page.serving import connection
from swapbell_host.page.serving.connection import Connection
from swapbell_host.page.serving.server import HEAD_MAX_BYTES

PATIENCE_S = 20.0
# Far more than a kernel keeps of an answer that nobody takes.
LARGE_BYTES = 30_000_000
FEW = 20
POST = b"POST /whole HTTP/1.1\r\nHost: here\r\nContent-Length: 100000\r\n\r\n"


async def app(scope: Scope, receive: Receive, send: Send) -> None:
    """Answer with the size of what came, with a large thing, or without looking at what comes."""
    request = Request(scope, receive)
    if scope["path"] == "/busy":
        await asyncio.sleep(1.5 * connection.SLOW_S)
    answers: dict[str, Callable[[], Any]] = {"/large": large, "/refused": nothing}
    content = await answers.get(scope["path"], request.body)()
    answer = content if scope["path"] == "/large" else str(len(content))
    response: Response = PlainTextResponse(answer)
    await response(scope, receive, send)


async def large() -> bytes:
    return b"x" * LARGE_BYTES


async def nothing() -> bytes:
    return b""


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Serve the application to a few at once, with a clock that runs 20 times as fast."""
    monkeypatch.setattr(connection, "AT_ONCE_MAX", FEW)
    for name in ("HEAD_S", "SLOW_S", "PULSE_S"):
        monkeypatch.setattr(connection, name, getattr(connection, name) / 20.0)
    monkeypatch.setattr(connection, "LEAST_BYTES_PER_S", 20 * connection.LEAST_BYTES_PER_S)
    config = uvicorn.Config(
        app,
        http=Connection,
        ws="none",
        lifespan="off",
        log_level="critical",
        loop="asyncio",
        h11_max_incomplete_event_size=HEAD_MAX_BYTES,
        backlog=2 * FEW,
        limit_concurrency=5 * FEW,
    )
    server = uvicorn.Server(config)
    with closing(socket.create_server(("127.0.0.1", 0))) as listening:
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        yield listening.getsockname()[1]
        server.should_exit = True
        thread.join(PATIENCE_S)
    assert not thread.is_alive()


def connected(port: int, sends: bytes = b"") -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
    line.sendall(sends)
    return line


def ended(line: socket.socket, drip: bytes) -> bool:
    """Tell whether the page ends a connection that sends a little at a time."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            line.sendall(drip)
            line.settimeout(0.05)
            if line.recv(65536) == b"":
                return True
        except TimeoutError:
            continue
        except OSError:
            return True
    return False


@pytest.mark.parametrize(
    ("sends", "drip"),
    [
        (b"", b""),
        (b"GET /whole HTTP/1.1\r\nHost: here\r\n", b"X: y\r\n"),
        (b"GET /whole HTTP/1.1\r\nHost: here\r\n\r\n", b"G"),
        (POST, b"x"),
        (POST.replace(b"/whole", b"/refused").replace(b"100000", b"1000000000"), b"x" * 20_000),
    ],
    ids=["silent", "drips a head", "drips a second head", "drips a body", "sends on after the answer"],
)
def test_whoever_drips_is_ended(port: int, sends: bytes, drip: bytes) -> None:
    with closing(connected(port, sends)) as line:
        assert ended(line, drip)


def test_a_body_that_keeps_the_least_pace_is_ended_when_its_time_is_over(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "WHOLE_S", 3.0)
    endless = POST.replace(b"100000", b"100000000")
    with closing(connected(port, endless)) as line:
        assert ended(line, b"x" * 10_000)


@pytest.mark.parametrize("sips", [0, 10], ids=["not at all", "by sips"])
def test_an_answer_that_is_not_taken_at_the_least_pace_is_ended(port: int, sips: int) -> None:
    with closing(connected(port, b"GET /large HTTP/1.1\r\nHost: here\r\n\r\n")) as line:
        until = time.monotonic() + 3 * connection.SLOW_S
        while time.monotonic() < until:
            line.recv(sips)
            time.sleep(0.05)
        taken = 0
        while piece := line.recv(1_000_000):
            taken += len(piece)
    assert taken < LARGE_BYTES / 2


def test_an_answer_that_is_taken_over_a_weak_link_is_whole(port: int) -> None:
    with closing(connected(port, b"GET /large HTTP/1.1\r\nHost: here\r\n\r\n")) as line:
        began, taken = time.monotonic(), 0
        while piece := line.recv(100_000):
            taken += len(piece)
            time.sleep(0.01)
    assert taken > LARGE_BYTES
    assert time.monotonic() - began > 2 * connection.HEAD_S


def test_a_photo_over_a_weak_link_arrives_though_it_stops_on_its_way(port: int) -> None:
    with closing(connected(port, POST)) as line:
        for _ in range(3):
            for _ in range(5):
                line.sendall(b"x" * 6000)
                time.sleep(0.05)
            time.sleep(connection.SLOW_S / 3)
        line.sendall(b"x" * 10_000)
        assert line.recv(1000).startswith(b"HTTP/1.1 200 ")


def test_whoever_waits_until_they_may_send_is_not_blamed(port: int) -> None:
    """RFC 9110, 10.1.1: a client may wait for a 100 before it sends a large body."""
    waiting = POST.replace(b"/whole", b"/busy").replace(b"\r\n\r\n", b"\r\nExpect: 100-continue\r\n\r\n")
    with closing(connected(port, waiting)) as line:
        assert line.recv(1000).startswith(b"HTTP/1.1 100 ")
        line.sendall(b"x" * 100_000)
        assert line.recv(1000).startswith(b"HTTP/1.1 200 ")


def test_a_long_head_over_a_weak_link_is_read(port: int) -> None:
    with closing(connected(port, b"GET /whole?")) as line:
        for _ in range(30):
            line.sendall(b"x" * 4000)
            time.sleep(0.05)
        assert connection.HEAD_S < 30 * 0.05
        line.sendall(b" HTTP/1.1\r\nHost: here\r\n\r\n")
        assert line.recv(1000).startswith(b"HTTP/1.1 200 ")


def test_a_connection_that_asks_again_and_again_is_kept(port: int) -> None:
    with closing(HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)) as line:
        line.connect()
        first, until = line.sock, time.monotonic() + 3 * connection.HEAD_S
        while time.monotonic() < until:
            line.request("POST", "/whole", b"x" * 10)
            assert line.getresponse().read() == b"10"
            time.sleep(0.05)
        assert line.sock is first


def crowd(*addresses: str) -> list[Any]:
    """Return connections from those addresses, as they began one after the other."""

    def one(since_s: int, address: str) -> SimpleNamespace:
        ended = list[bool]()
        transport = SimpleNamespace(
            is_closing=lambda: bool(ended), get_write_buffer_size=lambda: 0, abort=lambda: ended.append(True)
        )
        return SimpleNamespace(since_s=since_s, client=(address, 1), transport=transport)

    return [one(*each) for each in enumerate(addresses)]


@pytest.mark.parametrize(
    ("addresses", "gives_way"),
    [
        (["10.0.0.1", "10.0.0.2", "10.0.0.2"], None),
        (["10.0.0.1", "10.0.0.2", "10.0.0.2", "10.0.0.3"], 1),
        (["10.0.0.1", "10.0.0.2", "10.0.0.3", "10.0.0.4"], 0),
        (["10.0.0.1", "2001:db8::1", "2001:db8:0:1::1", "2001:db8:0:2::1"], 1),
    ],
)
def test_the_oldest_of_the_address_that_has_the_most_gives_way(
    addresses: list[str], gives_way: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "AT_ONCE_MAX", 3)
    all_of_them = crowd(*addresses)
    connection.make_room(all_of_them)
    assert [n for n, each in enumerate(all_of_them) if each.transport.is_closing()] == (
        [] if gives_way is None else [gives_way]
    )


def test_a_crowd_of_one_address_does_not_keep_another_out(port: int) -> None:
    crowd = [connected(port, POST) for _ in range(8 * FEW)]
    with closing(socket.create_connection(("127.0.0.1", port), PATIENCE_S, ("127.0.0.9", 0))) as line:
        line.sendall(POST + b"x" * 100_000)
        assert line.recv(1000).startswith(b"HTTP/1.1 200 ")
    for each in crowd:
        each.close()
