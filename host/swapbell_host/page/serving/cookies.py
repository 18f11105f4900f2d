"""The cookies of the page: a browser's secret, its mark, and the word after a form that the next page shows once."""

from datetime import timedelta
from urllib.parse import quote, unquote

from starlette.requests import Request
from starlette.responses import Response

# Our choice: a round is walked every few days, and whoever walks it weekly stays signed in.
SESSION = timedelta(days=14)
# RFC 6265bis, 5.5 (from memory): browsers keep no cookie for longer.
MARK = timedelta(days=400)
# Our choice: as much of a word as fits into a cookie in any script (RFC 6265, 6.1: 4096 bytes at least).
SAID_MAX_LETTERS = 300


class Cookies:
    """The cookies of one page.

    Parameters
    ----------
    secure : bool
        Whether they go over https alone; then their names keep every other host from setting them (RFC 6265bis,
        4.1.3.2).
    """

    def __init__(self, *, secure: bool) -> None:
        self._secure = secure
        self._browser, self._mark, self._said = (
            f"{'__Host-' * secure}swapbell-{name}" for name in ("browser", "mark", "said")
        )

    def token(self, request: Request) -> str | None:
        """Return the browser's secret; nothing if it has none yet."""
        return request.cookies.get(self._browser) or None

    def give(self, response: Response, token: str) -> None:
        """Give the browser its secret."""
        self._set(response, self._browser, token, int(SESSION.total_seconds()))

    def mark(self, request: Request) -> str:
        """Return the mark of a browser that signed in before; empty if it has none."""
        return request.cookies.get(self._mark, "")

    def know(self, response: Response, mark: str) -> None:
        """Give the browser a mark by which it is known again."""
        self._set(response, self._mark, mark, int(MARK.total_seconds()))

    def said(self, request: Request) -> str:
        """Return what the last form has to say."""
        return unquote(request.cookies.get(self._said, ""))

    def say(self, response: Response, words: str) -> None:
        """Leave a word for the next page."""
        self._set(response, self._said, quote(words[:SAID_MAX_LETTERS], safe=""), None)

    def heard(self, response: Response) -> None:
        """Take the word away that a page has shown."""
        self._set(response, self._said, "", 0)

    def _set(self, response: Response, name: str, value: str, lasting_s: int | None) -> None:
        response.set_cookie(name, value, lasting_s, secure=self._secure, httponly=True, samesite="lax")
