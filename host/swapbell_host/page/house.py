"""What the page's handlers share: the ledger's books, the board, the configuration and the clock."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from swapbell_host.board import Board
from swapbell_host.books.accountbook import Accountbook
from swapbell_host.books.countbook import Countbook
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.page.access.checking import Checking
from swapbell_host.page.access.tries import Tries

if TYPE_CHECKING:
    from swapbell_host.config import Config


@dataclass(frozen=True, slots=True)
class House:
    """One open ledger and all that is shown of it; for one thread.

    Attributes
    ----------
    board
        How every station stood when the host's loop last judged it.
    now
        Returns the time, aware UTC.
    """

    config: "Config"
    store: Store
    planbook: Planbook
    servicebook: Servicebook
    countbook: Countbook
    notebook: Notebook
    accounts: Accountbook
    board: Board
    now: Callable[[], datetime]
    tries: Tries = field(default_factory=Tries)
    checking: Checking = field(default_factory=Checking)

    @property
    def photos(self) -> Path:
        """The folder of the service log's photos."""
        return Path(self.config.photos)

    def close(self) -> None:
        """End the checks of passwords and close the ledger."""
        self.checking.close()
        self.store.__exit__()


def open_house(config: "Config", board: Board, now: Callable[[], datetime]) -> House:
    """Open the ledger of a configuration for the page; it must have been made before.

    Raises
    ------
    Mistake, Breakdown
        If it cannot be used.
    """
    store = open_existing(ledger_url(config.ledger), writing=True)
    books = Planbook(store), Servicebook(store), Countbook(store), Notebook(store), Accountbook(store)
    return House(config, store, *books, board, now)
