"""What the desk's commands have in common: the ledger opened for a person, and refusals in one line."""

from collections.abc import Generator, Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from swapbell_host.alerting.people import People
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import ledger_url, open_existing, open_or_make
from swapbell_host.config import Config, read_config
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import shown
from swapbell_models.fault import Mistake


@dataclass(frozen=True, slots=True)
class Desk:
    """An open ledger, its configuration, and the time, aware UTC."""

    config: Config
    plan: Planbook
    book: Servicebook
    notices: Notebook
    now: datetime

    def people(self) -> People:
        """Return who is told of which station."""
        sites, stations = self.book.sites(self.now), self.book.stations(self.now)
        return People(self.config.alerts, self.plan.contacts(), stations, sites)


@contextmanager
def opened(config_file: Path, *, writing: bool = False, making: bool = False) -> Generator[Desk]:
    """Open the ledger of a configuration; with `making`, also one that is not there yet.

    Raises
    ------
    Mistake, Breakdown
        If the configuration or the ledger cannot be read; and, in one line, whatever value inside is refused.
    """
    config = read_config(config_file)
    url = ledger_url(config.ledger)
    with refusing(), open_or_make(url) if making else open_existing(url, writing=writing) as store:
        yield Desk(config, Planbook(store), Servicebook(store), Notebook(store), datetime.now(UTC))


@contextmanager
def refusing() -> Generator[None]:
    """Turn the refusal of a value into the caller's mistake."""
    try:
        yield
    except ValueError as error:
        raise Mistake(str(error)) from error


def key(text: str) -> Key:
    """Return the station that a text such as orchard/north names."""
    site, slash, station = text.partition("/")
    if not (site and slash and station):
        raise Mistake(f"station must be named SITE/STATION, as in orchard/north, not {shown(text)}")
    return site, station


def pairs(texts: Iterable[str]) -> dict[str, str]:
    """Return the details of texts such as crop=apples."""
    found = dict[str, str]()
    for text in texts:
        name, equals, said = text.partition("=")
        if not equals:
            raise Mistake(f"detail must read NAME=TEXT, as in crop=apples, not {shown(text)}")
        found[name] = said
    return found


def given(**options: object) -> dict[str, str]:
    """Return the options that were given, as a page's fields come; see `jobs.filling`."""
    return {name: str(value) for name, value in options.items() if value is not None}
