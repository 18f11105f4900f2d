"""The back room of the page: one thread in which all work with the books is done, one thing at a time."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from swapbell_host.page.house import House

Result = TypeVar("Result")


class Back:
    """The thread, and the house in it, which is opened when first asked for.

    Parameters
    ----------
    opening : callable
        Returns the house; while it raises, so does `do`.
    """

    def __init__(self, opening: Callable[[], House]) -> None:
        self._opening = opening
        self._house: House | None = None
        self._thread = ThreadPoolExecutor(1, "page")

    async def do(self, work: Callable[[House], Result]) -> Result:
        """Do something with the house and return what comes of it."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._do, work)

    def close(self) -> None:
        """Finish what is at work and close the ledger."""
        self._thread.shutdown(cancel_futures=True)
        if self._house is not None:
            self._house.close()

    def _do(self, work: Callable[[House], Result]) -> Result:
        if self._house is None:
            self._house = self._opening()
        return work(self._house)
