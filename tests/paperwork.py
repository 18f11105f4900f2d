"""An invented orchard whose log tells one application, and what its sheets say: read back from their pages."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from orchard import NOON_AT, SITE, STATION
from pypdf import PdfReader

from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_or_make
from swapbell_host.jobs.entry import Act, Draft, Entry
from swapbell_host.jobs.plan import Role, Site, Station, place

# An invented permit and an invented product.
STATED = {
    "portion": "85 g",
    "target": "0.1 g/L",
    "product": "invented concentrate",
    "product_strength": "100 g/L",
    "authority": "permit 12",
    "authority_until": "2026-09-30",
    "covers": "100 g/L",
    "directs": "0.1 g/L",
    "at_most": "0.1 %",
}
DAY = timedelta(days=1)
NOW_AT = NOON_AT + 30 * DAY
KEY = (SITE, STATION)


@dataclass
class Paperwork:
    """The open books, and who writes in them."""

    store: Store
    plan: Planbook
    service: Servicebook

    def log(self, act: Act, at: datetime, **said: Any) -> Entry:
        """Log an act, at the station if no other is said."""
        told: dict[str, Any] = {"site": SITE, "station": STATION, "by": "Kim"} | said
        return self.service.add(Draft(act=act, at=at, **told), NOW_AT)


@contextmanager
def paperwork(folder: Path, details: dict[str, str] | None = None) -> Iterator[Paperwork]:
    """Open the books of an orchard with the station `north`, a control and one that nobody has placed."""
    with open_or_make(ledger_url(str(folder / "ledger.sqlite"))) as store:
        plan = Planbook(store)
        plan.add_site(Site(SITE, "Pacific/Auckland", "Invented Ltd", details=STATED if details is None else details))
        here = place("42.8821 S 147.3272 E")
        plan.add_station(Station(SITE, STATION, NOON_AT, place=here, bait="fish"))
        plan.add_station(Station(SITE, "far", NOON_AT, Role.CONTROL, place("42.8912 S 147.3301 E")))
        plan.add_station(Station(SITE, "west", NOON_AT))
        yield Paperwork(store, plan, Servicebook(store))


def applied(books: Paperwork) -> None:
    """Log lure, swap and withdrawal, as little as can be said."""
    books.log(Act.LURED, NOON_AT)
    books.log(Act.SWAPPED, NOON_AT + 3 * DAY, mass_g=85.0, details={"mg_per_kg": "98", "product_ml": "0.085 mL"})
    books.log(Act.WITHDRAWN, NOON_AT + 6 * DAY, mass_g=31.5)


def pages(content: bytes) -> list[str]:
    """Return the text of each page."""
    return [page.extract_text() for page in PdfReader(io.BytesIO(content)).pages]


def text(content: bytes) -> str:
    """Return the text of a document on one line."""
    return " ".join(" ".join(pages(content)).split())
