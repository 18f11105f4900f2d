"""One connection to the page: who says nothing is not waited for, or a few hundred would keep all others out."""

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

# Our choice: a phone at the edge of its network sends the head of a request within it.
HEAD_S = 10.0


class Connection(H11Protocol):
    """As uvicorn has it, but closed where the head of the first request does not come in time."""

    def connection_made(self, transport: Any) -> None:
        """Begin to wait."""
        super().connection_made(transport)
        self._closing = asyncio.get_running_loop().call_later(HEAD_S, self._close_if_silent)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._closing.cancel()
        super().connection_lost(exc)

    def _close_if_silent(self) -> None:
        # uvicorn begins a cycle when the head of a request is whole; until then there is none, whatever it annotates.
        if vars(self)["cycle"] is None and not self.transport.is_closing():
            self.transport.close()
