"""The page without a socket: a browser's cookies and forms, on a ledger of its own, at a clock that a test sets."""

import asyncio
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from html import unescape
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlencode, urlsplit

import pytest
from orchard import NOON_AT

from swapbell_host import passwords
from swapbell_host.board import Board
from swapbell_host.books.store import ledger_url, open_or_make
from swapbell_host.config import Config, parse_config
from swapbell_host.jobs.account import Account, Right
from swapbell_host.page.access.forgery import FIELD
from swapbell_host.page.door import Door
from swapbell_host.page.house import House, open_house
from swapbell_host.page.serving.app import DOORS, application
from swapbell_host.page.serving.back import Back
from swapbell_host.page.serving.listening import Listening
from swapbell_host.page.visit import Fields

HOST_TOML = '[broker]\nhost = "192.0.2.10"\n'
HERE = Listening("127.0.0.1", 8080)
PATIENCE_S = 20.0
PASSWORD = "four words and one"


@cache
def password_hash() -> str:
    """Return the hash of `PASSWORD`; made once, for it takes its time on purpose."""
    return passwords.hashed(PASSWORD)


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back."""

    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def text(self) -> str:
        """The content as text."""
        return self.content.decode("utf-8", "replace")

    @property
    def words(self) -> str:
        """What a person reads, without markup, on one line."""
        plain = re.sub(r"<(script|style)[\s\S]*?</\1>|<[^>]*>", " ", self.text)
        return " ".join(unescape(plain).split())


@dataclass
class Client:
    """A browser at one page; `get`, `post` and `submit` return a `Reply`.

    Attributes
    ----------
    now
        The page's clock, aware UTC; set it to let time pass.
    cookies
        What the browser holds.
    """

    config: Config
    doors: Sequence[Door] = DOORS
    listening: Listening = HERE
    now: datetime = NOON_AT
    board: Board = field(default_factory=Board)
    cookies: dict[str, str] = field(default_factory=dict[str, str])
    address: str = "127.0.0.1"
    host: str = "127.0.0.1:8080"
    back: Back = field(init=False)
    last: Reply | None = None

    def __post_init__(self) -> None:
        """Make the ledger where there is none yet."""
        open_or_make(ledger_url(self.config.ledger)).__exit__()
        self.back = Back(lambda: open_house(self.config, self.board, lambda: self.now))
        self._app = application(self.back, self.listening, self.doors)

    def sign_in(self, right: Right = Right.WORK, name: str = "Kim") -> Reply:
        """Make an account and sign in with it."""
        account = Account(name, right)
        self.in_house(lambda house: house.accounts.put(account, password_hash(), self.now))
        return self.submit("/login", {"name": name, "password": PASSWORD})

    def in_house(self, work: Callable[[House], Any]) -> Any:
        """Do something with the page's own house, in its own thread."""
        return asyncio.run(self.back.do(work))

    def get(self, where: str, **headers: str) -> Reply:
        """Ask for an address."""
        return self.send("GET", where, b"", headers)

    def post(
        self, where: str, fields: Mapping[str, str | Sequence[str]], photo: bytes | None = None, **headers: str
    ) -> Reply:
        """Send a form just as it is given."""
        if photo is None:
            kind, body = (
                "application/x-www-form-urlencoded",
                urlencode(fields, doseq=True, errors="surrogatepass").encode("ascii"),
            )
        else:
            kind, body = "multipart/form-data; boundary=cut", _multipart(fields, photo)
        return self.send("POST", where, body, {"content-type": kind, **headers})

    def submit(
        self,
        where: str,
        fields: Mapping[str, str | Sequence[str]],
        photo: bytes | None = None,
        shown_at: str | None = None,
    ) -> Reply:
        """Send a form as the browser does to which the page at `shown_at` (else `where`) showed it."""
        form = self.get(shown_at or where).text
        key = re.search(rf'name="{FIELD}" value="([^"]*)"', form)
        assert key, f"{shown_at or where} shows no form"
        return self.post(where, {FIELD: key[1], **fields}, photo)

    def send(self, method: str, where: str, body: bytes, headers: Mapping[str, str]) -> Reply:
        """Send anything."""
        said = {"host": self.host, "content-length": str(len(body)), **headers}
        if self.cookies:
            said["cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        split = urlsplit(where)
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote(split.path, errors="replace"),
            "raw_path": split.path.encode("ascii"),
            "root_path": "",
            "query_string": split.query.encode("ascii"),
            "headers": [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in said.items()],
            "client": (self.address, 40000),
            "server": ("127.0.0.1", 8080),
        }
        return asyncio.run(self._exchange(scope, body))

    async def _exchange(self, scope: dict[str, Any], body: bytes) -> Reply:
        waiting = [{"type": "http.request", "body": body, "more_body": False}]
        sent: list[dict[str, Any]] = []
        begun = asyncio.Event()

        async def receive() -> Any:
            """Hand over the body; leave as soon as something came: anything but a stream is whole by then."""
            if not waiting:
                await begun.wait()
            return waiting.pop() if waiting else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            sent.append(message)
            if message["type"] == "http.response.body":
                begun.set()

        try:
            async with asyncio.timeout(PATIENCE_S):
                await self._app(scope, receive, send)
        finally:  # what fails is answered, and then raised for whoever serves the page
            self.last = self._received(sent)
        return self.last

    def _received(self, sent: Sequence[dict[str, Any]]) -> Reply:
        start, content = sent[0], b"".join(each.get("body", b"") for each in sent[1:])
        headers = [(name.decode("latin-1"), value.decode("latin-1")) for name, value in start["headers"]]
        for cookie in (value for name, value in headers if name == "set-cookie"):
            self._keep(cookie)
        return Reply(start["status"], dict(headers), content)

    def _keep(self, cookie: str) -> None:
        for name, morsel in SimpleCookie(cookie).items():
            if morsel["max-age"] == "0":
                self.cookies.pop(name, None)
            else:
                self.cookies[name] = morsel.value


def client(
    folder: Path, doors: Sequence[Door] = DOORS, listening: Listening = HERE, ledger: str = "ledger.sqlite"
) -> Client:
    """Return a browser at the page of a new host whose files lie in a folder; `.back.close()` it at the end."""
    config = parse_config(f'ledger = "{ledger}"\n{HOST_TOML}', folder / "host.toml")
    return Client(config, doors, listening)


def page_at(
    now: datetime = NOON_AT,
    furnish: Callable[[House], Any] | None = None,
    doors: Sequence[Door] = DOORS,
    listening: Listening = HERE,
) -> Callable[[Path], Iterator[Client]]:
    """Return a fixture: a browser at the page of a new host, at that time, in a house that was furnished."""

    @pytest.fixture
    def page(tmp_path: Path) -> Iterator[Client]:
        made = client(tmp_path, doors, listening)
        made.now, made.host = now, f"{listening.host}:{listening.port}"
        if furnish:
            made.in_house(furnish)
        yield made
        made.back.close()

    return page


def _multipart(fields: Fields | Mapping[str, str | Sequence[str]], photo: bytes) -> bytes:
    parts = [
        f'--cut\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, values in fields.items()
        for value in ([values] if isinstance(values, str) else values)
    ]
    head = (
        b'--cut\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
    )
    return b"".join([*parts, head, photo, b"\r\n--cut--\r\n"])
