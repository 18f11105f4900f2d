"""What a page's handler is given, and what it may answer."""

from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import datetime

from swapbell_host.jobs.account import Account, Right
from swapbell_host.page.house import House

Fields = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks.

    Attributes
    ----------
    account
        Who signed in; nothing where nobody did.
    right
        What the caller may do; nothing before signing in. Where no login is set up, whoever is at this machine works.
    address
        The network address of whoever asks.
    token
        The secret that only this browser holds.
    mark
        By which the browser is known again that signed in before; it outlasts signing out.
    """

    account: Account | None
    right: Right | None
    address: str
    token: str = field(repr=False)
    mark: str = field(default="", repr=False)

    @property
    def may_look(self) -> bool:
        """Whether the caller may see anything but the way in."""
        return self.right is not None

    @property
    def may_work(self) -> bool:
        """Whether the caller may send forms."""
        return self.right is Right.WORK


@dataclass(frozen=True, slots=True)
class Visit:
    """One request, as a handler sees it.

    Attributes
    ----------
    house
        The books, the board and the configuration.
    at
        Now, aware UTC.
    path
        The parts of the address that the door names.
    asked, filled
        All values of the address and of the form, by name; `query` and `form` hold the last of each.
    photo
        The file that came with the form; nothing if none did.
    """

    house: House
    caller: Caller
    at: datetime
    path: Mapping[str, str] = field(default_factory=dict[str, str])
    asked: Fields = field(default_factory=dict[str, Sequence[str]])
    filled: Fields = field(default_factory=dict[str, Sequence[str]])
    photo: bytes | None = None

    @property
    def account(self) -> Account | None:
        """Who signed in; nothing where no login is set up, on this machine alone."""
        return self.caller.account

    @property
    def may_work(self) -> bool:
        """Whether forms are shown to this caller."""
        return self.caller.may_work

    @property
    def query(self) -> dict[str, str]:
        """What stands behind the address's question mark."""
        return _last(self.asked)

    def queries(self, name: str) -> list[str]:
        """Return every value of that name behind the question mark."""
        return list(self.asked.get(name, ()))

    @property
    def form(self) -> dict[str, str]:
        """What was typed into the form."""
        return _last(self.filled)

    def forms(self, name: str) -> list[str]:
        """Return every value of that name in the form."""
        return list(self.filled.get(name, ()))


@dataclass(frozen=True, slots=True)
class Page:
    """A template filled with values."""

    template: str
    values: Mapping[str, object] = field(default_factory=dict[str, object])
    status: int = 200


@dataclass(frozen=True, slots=True)
class Go:
    """Where a form that was taken leads.

    Attributes
    ----------
    to
        An address of this page, from its first slash on.
    said
        One line that the next page shows once.
    token
        The browser's new secret, where somebody signed in or out.
    mark
        The browser's new mark, where somebody signed in.
    """

    to: str
    said: str = ""
    token: str | None = field(default=None, repr=False)
    mark: str | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Download:
    """A file.

    Attributes
    ----------
    name
        What it is called on the disk of whoever saves it.
    inline
        Whether a browser may show it instead of saving it.
    """

    content: bytes
    media_type: str
    name: str
    inline: bool = False


@dataclass(frozen=True, slots=True)
class Stream:
    """Server-sent events, each a whole frame of text that ends in an empty line (WHATWG HTML, 9.2)."""

    events: AsyncIterator[str]


Said = Page | Go | Download | Stream


@dataclass(frozen=True, slots=True)
class Later:
    """An answer that hangs on a check of a password, which is done elsewhere so that nobody else waits for it.

    Attributes
    ----------
    then
        Returns the answer, once it is known whether the password is right.
    """

    visit: Visit
    check: Future[bool]
    then: Callable[[bool], Said]


Answer = Said | Later


def _last(fields: Fields) -> dict[str, str]:
    return {name: values[-1] for name, values in fields.items() if values}
