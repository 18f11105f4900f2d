"""The page as the host serves it: a real port, beside the host's real loop."""

import socket
import ssl
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Generator
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from urllib.parse import urlencode

import pytest
from host.page_client import password_hash
from sqlalchemy import insert

from swapbell_host.board import Board
from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.jobtables import stations
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.planrows import station_row
from swapbell_host.books.store import ledger_url, open_or_make
from swapbell_host.config import Config, parse_config
from swapbell_host.jobs.account import Account, Right
from swapbell_host.jobs.plan import Site, Station, located
from swapbell_host.main import serve
from swapbell_host.page.serving import listening as where_it_listens
from swapbell_host.page.serving.connection import AT_ONCE_MAX
from swapbell_host.page.serving.listeners import FAREWELL, OF_ONE_MAX
from swapbell_host.page.serving.listening import Listening, listening, own_names
from swapbell_host.page.serving.server import Server
from swapbell_models.fault import Mistake

# No broker is there: the host calls it again and again, and the page is served all the same.
HOST_TOML = """
[broker]
host = "127.0.0.1"
port = 1
[page]
listen = "{listen}"
"""
CERTIFICATE = 'certificate_file = "cert.pem"\nkey_file = "key.pem"\n'
PATIENCE_S = 20.0


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


def configured(folder: Path, listen: str, more: str = "") -> Config:
    return parse_config(HOST_TOML.format(listen=listen) + more, folder / "host.toml")


@contextmanager
def host(config: Config) -> Generator[threading.Thread]:
    """Run the host's loop in a thread until the end of the block."""
    stop = threading.Event()
    running = threading.Thread(target=serve, args=(config, lambda: datetime.now(UTC), stop, print, 200))
    running.start()
    try:
        yield running
    finally:
        stop.set()
        running.join(PATIENCE_S)
    assert not running.is_alive()


def asked(url: str, within_s: float = PATIENCE_S, trust: ssl.SSLContext | None = None) -> str:
    """Return what is shown at a URL as soon as anything is."""
    until = time.monotonic() + within_s
    while True:
        try:
            with urllib.request.urlopen(url, context=trust, timeout=PATIENCE_S) as reply:
                return str(reply.read().decode("utf-8"))
        except urllib.error.HTTPError:
            raise
        except urllib.error.URLError:
            if time.monotonic() > until:
                raise
            time.sleep(0.05)


def refused(config: Config) -> str:
    with pytest.raises(Mistake) as mistake:
        serve(config, lambda: datetime.now(UTC), threading.Event())
    assert "\n" not in str(mistake.value)
    return str(mistake.value)


def test_the_page_is_there_while_the_host_runs_and_gone_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    config = configured(tmp_path, f"127.0.0.1:{port}")
    for _ in range(2):
        with host(config):
            assert "Sign in" in asked(f"http://127.0.0.1:{port}/login")
        assert "not encrypted" not in capsys.readouterr().err
        with socket.create_server(("127.0.0.1", port)):
            pass


def test_it_is_also_there_on_ipv6(tmp_path: Path) -> None:
    port = free_port()
    with host(configured(tmp_path, f"[::1]:{port}")):
        assert "Sign in" in asked(f"http://[::1]:{port}/login")


def test_a_port_that_is_taken_is_told_in_one_line(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = refused(configured(tmp_path, f"127.0.0.1:{port}"))
    assert said == (
        f"page: cannot listen at 127.0.0.1 port {port}: Address already in use; end what uses it, or choose another "
        "under [page] listen"
    )


@pytest.mark.parametrize("listen", ["0.0.0.0", "[::]"])
def test_it_does_not_listen_beyond_this_machine_before_anybody_can_sign_in(tmp_path: Path, listen: str) -> None:
    assert "`swapbell-host login set NAME --right work` first" in refused(
        configured(tmp_path, f"{listen}:{free_port()}")
    )


def test_it_does_not_stand_behind_another_server_before_anybody_can_sign_in(tmp_path: Path) -> None:
    config = configured(tmp_path, f"127.0.0.1:{free_port()}", 'address = "https://wasps.example.org"\n')
    assert "https://wasps.example.org can be reached from other machines" in refused(config)


def test_with_a_login_it_listens_beyond_this_machine_and_says_what_is_not_encrypted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    config = configured(tmp_path, f"0.0.0.0:{port}")
    with open_or_make(ledger_url(config.ledger)) as store:
        Accountbook(store).put(Account("Kim", Right.WORK), password_hash(), datetime.now(UTC))
    with host(config):
        assert "Sign in" in asked(f"http://127.0.0.1:{port}/")
    assert "not encrypted" in capsys.readouterr().err


@pytest.mark.parametrize("listen", ["0.0.0.0", "::"])
def test_whoever_starts_it_is_told_the_addresses_on_which_people_can_open_it(
    listen: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(where_it_listens, "own_names", lambda: ["orchard-pi", "192.0.2.20"])
    assert Listening(listen, 8080).urls == ["http://orchard-pi:8080", "http://192.0.2.20:8080"]
    assert Listening(listen, 8080, encrypts=True).urls[0] == "https://orchard-pi:8080"
    assert Listening(listen, 8080, "https://wasps.example.org").urls == ["https://wasps.example.org"]
    assert Listening("192.0.2.7", 8080).urls == ["http://192.0.2.7:8080"]


def test_the_machines_own_addresses_are_those_that_lead_to_it() -> None:
    names = own_names()
    assert names
    assert not {"0.0.0.0", "127.0.0.1"} & set(names)
    with socket.create_server(("0.0.0.0", 0)) as listening:
        for name in names[1:]:
            socket.create_connection((name, listening.getsockname()[1]), PATIENCE_S).close()


def test_a_page_for_this_machine_alone_says_so_and_how_others_get_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}")):
        asked(f"http://127.0.0.1:{port}/login")
    said = capsys.readouterr().err
    assert f"page at http://127.0.0.1:{port}, on this machine alone\n" in said
    assert f'listen = "0.0.0.0:{port}"' in said


def test_every_address_of_the_machine_is_of_both_kinds(tmp_path: Path) -> None:
    port = free_port()
    config = configured(tmp_path, f"[::]:{port}")
    with open_or_make(ledger_url(config.ledger)) as store:
        Accountbook(store).put(Account("Kim", Right.WORK), password_hash(), datetime.now(UTC))
    with host(config):
        assert "Sign in" in asked(f"http://127.0.0.1:{port}/")
        assert "Sign in" in asked(f"http://[::1]:{port}/")


def test_the_page_comes_when_another_program_lets_go_of_the_ledger(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    config = configured(tmp_path, f"127.0.0.1:{port}")
    with open_or_make(ledger_url(config.ledger)) as other, ExitStack() as hold:
        hold.enter_context(other.transaction())
        with host(config):
            time.sleep(1.0)
            assert "trying again" in capsys.readouterr().err
            hold.close()
            assert "Sign in" in asked(f"http://127.0.0.1:{port}/login")


def test_those_who_connect_and_say_nothing_do_not_keep_others_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("swapbell_host.page.serving.connection.HEAD_S", 1.0)
    port = free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}")):
        assert "Today" in asked(f"http://127.0.0.1:{port}/")
        silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(AT_ONCE_MAX + 5)]
        silent[0].sendall(b"GET / HTTP/1.1\r\n")
        for each in silent:
            each.settimeout(PATIENCE_S)
            while each.recv(1000):
                pass
        assert "Today" in asked(f"http://127.0.0.1:{port}/")
        for each in silent:
            each.close()


def test_an_open_stream_does_not_hold_the_host(tmp_path: Path) -> None:
    port = free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}")):
        asked(f"http://127.0.0.1:{port}/login")
        line = HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        line.request("GET", "/live")
        assert line.getresponse().status == 200
        ended_at = time.monotonic()
    assert time.monotonic() - ended_at < PATIENCE_S / 2
    line.close()


def test_of_too_many_streams_of_one_account_the_oldest_gives_way(tmp_path: Path) -> None:
    port = free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}")), ExitStack() as lines:
        asked(f"http://127.0.0.1:{port}/login")
        streams = list[HTTPResponse]()
        for _ in range(OF_ONE_MAX + 1):
            line = lines.enter_context(closing(HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)))
            line.request("GET", "/live")
            streams.append(line.getresponse())
            streams[-1].readline()
        assert FAREWELL in streams[0].read().decode("ascii")


def test_whoever_leaves_in_the_middle_of_a_form_is_no_failure_of_ours(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    head = "POST /login HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 99\r\nContent-Type: "
    kinds = ("application/x-www-form-urlencoded", "multipart/form-data; boundary=cut")
    with host(configured(tmp_path, f"127.0.0.1:{port}")):
        asked(f"http://127.0.0.1:{port}/login")
        capsys.readouterr()
        for kind in kinds:
            with closing(socket.create_connection(("127.0.0.1", port))) as line:
                line.sendall(f"{head}{kind}\r\n\r\nname=K".encode())
        asked(f"http://127.0.0.1:{port}/login")
        time.sleep(0.3)
    assert "Traceback" not in capsys.readouterr().err


def test_a_round_of_a_thousand_stations_is_asked_for_and_worked_out(tmp_path: Path) -> None:
    port, now = free_port(), datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
    config = configured(tmp_path, f"127.0.0.1:{port}")
    names = [f"row-{n // 50}-by-the-old-water-tank-behind-the-hill-post-{n % 50}".ljust(63, "x") for n in range(1000)]
    with open_or_make(ledger_url(config.ledger)) as store:
        Planbook(store).add_site(Site("hill"))
        planned = [
            Station("hill", name, now, place=located(-42.0 + n % 50 / 2e3, 147.0 + n // 50 / 2e3))
            for n, name in enumerate(names)
        ]
        with store.transaction() as connection:
            connection.execute(insert(stations), [station_row(each, 2) for each in planned])
    keys = [f"hill/{name}" for name in names]
    amounts = {f"give {key}": "lure" for key in keys} | {f"mass {key}": "85.5 g" for key in keys}
    with Server(config, Board(), lambda: now, print) as server:
        server.begin()
        chosen = asked(f"http://127.0.0.1:{port}/round?{urlencode({'station': keys}, doseq=True)}")
        whole = urlencode({"begin": "", "here": "", "carry": "yes", "station": keys} | amounts, doseq=True)
        worked_out = asked(f"http://127.0.0.1:{port}/round?{whole}")
    assert "Round of 1000 stops" in chosen
    assert "1000 stations, 85500 g" in worked_out


def certified(folder: Path) -> ssl.SSLContext:
    """Make a certificate of this machine, and return what trusts it."""
    names = ["-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"]
    files = ["-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem")]
    made = ["openssl", "req", "-x509", "-newkey", "ed25519", "-nodes", "-days", "1", *names, *files]
    subprocess.run(made, check=True, capture_output=True)
    return ssl.create_default_context(cafile=folder / "cert.pem")


@pytest.mark.part("openssl")
def test_with_a_certificate_it_encrypts_by_itself(tmp_path: Path) -> None:
    trust, port = certified(tmp_path), free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}", CERTIFICATE)):
        assert "Sign in" in asked(f"https://127.0.0.1:{port}/login", trust=trust)


@pytest.mark.part("openssl")
def test_whoever_connects_and_does_not_begin_to_encrypt_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("swapbell_host.page.serving.connection.HEAD_S", 1.0)
    trust, port = certified(tmp_path), free_port()
    with host(configured(tmp_path, f"127.0.0.1:{port}", CERTIFICATE)):
        asked(f"https://127.0.0.1:{port}/login", trust=trust)
        with closing(socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)) as silent:
            assert silent.recv(1000) == b""


@pytest.mark.parametrize("content", ["", "junk"])
def test_a_certificate_that_is_none_is_told_in_one_line(tmp_path: Path, content: str) -> None:
    if content:
        (tmp_path / "cert.pem").write_text(content)
    more = 'certificate_file = "cert.pem"\n'
    assert "check both files" in refused(configured(tmp_path, f"127.0.0.1:{free_port()}", more))


@pytest.mark.parametrize("listen", ["8080", "127.0.0.1", "127.0.0.1:x", "http://127.0.0.1:80", "::1:8080", "a b:80"])
def test_what_is_no_address_is_refused(tmp_path: Path, listen: str) -> None:
    with pytest.raises(Mistake, match=r"page\.listen"):
        configured(tmp_path, listen)


@pytest.mark.parametrize("listen", ["127.0.0.1:99999", "nowhere.invalid:8080", "192.0.2.1:8080"])
def test_where_it_cannot_listen_is_told_in_one_line(tmp_path: Path, listen: str) -> None:
    assert refused(configured(tmp_path, listen)).startswith("page: cannot listen at ")


@pytest.mark.parametrize(
    ("listen", "private"),
    [("127.0.0.1:1", True), ("localhost:1", True), ("[::1]:1", True), ("127.9.9.9:1", True), ("0.0.0.0:1", False),
     ("[::]:1", False), ("192.0.2.1:1", False), ("host.example:1", False)],
)  # fmt: skip
def test_only_loopback_is_this_machine_alone(tmp_path: Path, listen: str, private: bool) -> None:
    section = configured(tmp_path, listen).page
    assert section is not None
    assert listening(section).private is private
