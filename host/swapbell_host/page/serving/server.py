"""The page's server: a thread of the host that answers until the host ends."""

import asyncio
import logging
import threading
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Self

import uvicorn

from swapbell_host.board import Board
from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.page.house import open_house
from swapbell_host.page.serving.app import application
from swapbell_host.page.serving.back import Back
from swapbell_host.page.serving.connection import AT_ONCE_MAX, Connection, Loop
from swapbell_host.page.serving.listening import WAITING_MAX, Listening, listening
from swapbell_models.fault import Mistake

if TYPE_CHECKING:
    from swapbell_host.config import Config, PageSection

# Our choice: whoever waits for an answer when the host ends gets a moment; streams would never end by themselves.
GRACE_S = 1
# Our choice: the largest round, 1,000 stations with an amount for each, under names as long as any may be.
HEAD_MAX_BYTES = 450_000


class Server:
    """The page of one host.

    Parameters
    ----------
    config : Config
        With a `[page]`.
    board : Board
        How every station stands.
    now : callable
        Returns the time, aware UTC.
    warn : callable
        Is given one line when the page can be opened.

    Raises
    ------
    Mistake
        If the port is taken, or the certificate cannot be used.
    """

    def __init__(
        self, config: "Config", board: Board, now: Callable[[], datetime], warn: Callable[[str], None]
    ) -> None:
        assert config.page is not None, "a page is served where the configuration has one"
        self._config, self._warn = config, warn
        self.listening = listening(config.page)
        self._back = Back(lambda: open_house(config, board, now))
        self._uvicorn = _uvicorn(config.page, self.listening, self._back)
        self._socket = self.listening.bind()
        self._thread = threading.Thread(target=self._serve, name="page server")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the port and the ledger."""
        if self._thread.ident is not None:
            self._uvicorn.should_exit = True
            self._thread.join()
        self._socket.close()
        self._back.close()

    def begin(self) -> None:
        """Begin to answer, once the ledger is there; does nothing if it has begun.

        Raises
        ------
        Mistake
            If the page can be reached from elsewhere and nobody can sign in.
        """
        if self._thread.ident is not None:
            return
        with open_existing(ledger_url(self._config.ledger)) as store:
            if not self.listening.private and not Accountbook(store).any():
                raise Mistake(
                    f"page: {' or '.join(self.listening.urls)} can be reached from other machines, and nobody can "
                    "sign in yet; `swapbell-host login set NAME --right work` first, or listen on 127.0.0.1"
                )
        self._thread.start()
        self._tell()

    def _serve(self) -> None:
        with asyncio.Runner(loop_factory=Loop) as runner:
            runner.run(self._uvicorn.serve([self._socket]))

    def _tell(self) -> None:
        """Say where people can open it."""
        where = self.listening
        self._warn(f"page at {' or '.join(where.urls)}{', on this machine alone' if where.private else ''}")
        if where.private:
            self._warn(f'page: for others, `swapbell-host login set`, then [page] listen = "0.0.0.0:{where.port}"')
        elif not where.secure:
            self._warn("page: not encrypted, so whoever shares the network can read passwords; give it a certificate")


def _uvicorn(section: "PageSection", where: Listening, back: Back) -> uvicorn.Server:
    logging.getLogger("python_multipart").setLevel(logging.CRITICAL)  # it has a line for each torn form
    settings = uvicorn.Config(
        application(back, where),
        http=Connection,
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="critical",  # `app` tells what failed; what a stranger sends is not worth a line each
        access_log=False,
        server_header=False,
        # Only what stands in front of the host, on this machine, may say for whom it asks.
        proxy_headers=where.address is not None,
        forwarded_allow_ips="127.0.0.1,::1",
        h11_max_incomplete_event_size=HEAD_MAX_BYTES,
        backlog=WAITING_MAX,
        limit_concurrency=2 * AT_ONCE_MAX,  # counts also what is at work for those who left
        timeout_graceful_shutdown=GRACE_S,
        ssl_certfile=section.certificate_file,
        ssl_keyfile=section.key_file,
    )
    try:
        settings.load()
    except OSError as error:  # also what the ssl library says of a certificate
        raise Mistake(f"page: certificate {section.certificate_file}: {error}; check both files") from error
    return uvicorn.Server(settings)
