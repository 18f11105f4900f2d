"""The back of the page: a room with a thread in which all work with the books is done, one thing at a time.

What takes long has a room of its own, with the ledger opened once more, so that nobody else waits for it.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from swapbell_host.page.house import House

Result = TypeVar("Result")


class Back:
    """Both rooms.

    Parameters
    ----------
    opening : callable
        Returns a house; while it raises, so does `do`.
    """

    def __init__(self, opening: Callable[[], House]) -> None:
        self._quick, self._slow = _Room(opening, "page"), _Room(opening, "page, slow")

    async def do(self, work: Callable[[House], Result], *, slow: bool = False) -> Result:
        """Do something with the house and return what comes of it."""
        return await (self._slow if slow else self._quick).do(work)

    def close(self) -> None:
        """Finish what is at work and close the ledger."""
        self._slow.close()
        self._quick.close()


class _Room:
    """A thread, and the house in it, which is opened when first asked for."""

    def __init__(self, opening: Callable[[], House], name: str) -> None:
        self._opening = opening
        self._house: House | None = None
        self._thread = ThreadPoolExecutor(1, name)

    async def do(self, work: Callable[[House], Result]) -> Result:
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._do, work)

    def close(self) -> None:
        self._thread.shutdown(cancel_futures=True)
        if self._house is not None:
            self._house.close()

    def _do(self, work: Callable[[House], Result]) -> Result:
        if self._house is None:
            self._house = self._opening()
        return work(self._house)
