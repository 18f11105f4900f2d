"""Who may see the preview: the one browser that came with its address first."""

from dataclasses import dataclass
from secrets import compare_digest
from threading import Lock


@dataclass(frozen=True, slots=True)
class Keys:
    """Three words that nobody can guess.

    Attributes
    ----------
    token
        In the address that is printed; good once.
    ticket
        What the browser that came with it shows from then on, as a cookie.
    form
        In every form of the page, so that no other page can send one.
    """

    token: str
    ticket: str
    form: str


class Door:
    """Lets one browser in: the first with the token, and whoever shows the ticket that it was given then."""

    def __init__(self, keys: Keys) -> None:
        self._keys, self._lock, self._used = keys, Lock(), False

    def enter(self, token: str, ticket: str) -> bool:
        """Tell whether a browser with this token may come in; the ticket is what it has, perhaps nothing."""
        if not _same(token, self._keys.token):
            return False
        with self._lock:
            first, self._used = not self._used, True
        return first or self.knows(ticket)

    def knows(self, ticket: str) -> bool:
        """Tell whether a ticket is the one that was given."""
        return self._used and _same(ticket, self._keys.ticket)

    def sent(self, ticket: str, form: str) -> bool:
        """Tell whether a form comes from our own page in the browser that was let in."""
        return self.knows(ticket) and _same(form, self._keys.form)


def _same(one: str, other: str) -> bool:
    return compare_digest(one.encode(), other.encode())
