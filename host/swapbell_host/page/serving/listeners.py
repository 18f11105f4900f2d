"""Who listens to the page's events: so many of each account, and so many in all; whoever began first gives way."""

import asyncio
from collections.abc import AsyncIterator

# Our choice: two browsers of one person, each of which opens six lines to one host at most.
OF_ONE_MAX = 12
# Our choice: half of all connections, so that those who listen leave room for those who ask.
IN_ALL_MAX = 100
# How long a browser stays away that gave way [ms] (WHATWG HTML, 9.2: `retry`); our choice: or two would take turns.
FAREWELL = "retry: 600000\n\n"

Gone = asyncio.Future[None]


class Listeners:
    """All streams that are open, in the order in which they began; for one event loop."""

    def __init__(self) -> None:
        self._open: dict[Gone, str] = {}

    async def hear(self, who: str, events: AsyncIterator[str]) -> AsyncIterator[str]:
        """Yield somebody's events until they end, or until others take the place."""
        gone = self._enter(who)
        try:
            while True:
                yield await _next(events, gone)
        except StopAsyncIteration:
            return
        except TimeoutError:
            yield FAREWELL
        finally:
            self._open.pop(gone, None)

    def _enter(self, who: str) -> Gone:
        self._keep_below(OF_ONE_MAX, [gone for gone, whose in self._open.items() if whose == who])
        self._keep_below(IN_ALL_MAX, list(self._open))
        gone: Gone = asyncio.get_running_loop().create_future()
        self._open[gone] = who
        return gone

    def _keep_below(self, most: int, crowd: list[Gone]) -> None:
        """Let the first of a crowd give way where it is full."""
        if len(crowd) >= most:
            del self._open[crowd[0]]
            crowd[0].cancel()


async def _next(events: AsyncIterator[str], gone: Gone) -> str:
    """Return the next event, or raise `TimeoutError` as soon as the listener must give way."""
    coming = asyncio.ensure_future(anext(events))
    try:
        await asyncio.wait((coming, gone), return_when=asyncio.FIRST_COMPLETED)
        if gone.done():
            raise TimeoutError
        return coming.result()
    finally:
        coming.cancel()
