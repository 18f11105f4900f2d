"""How every station stood when it was last judged, for whoever shows it while the host runs."""

from dataclasses import dataclass
from datetime import datetime

from swapbell_host.intake import Station
from swapbell_host.rules import History
from swapbell_models.readiness import Verdict


@dataclass(frozen=True, slots=True)
class Seen:
    """One station as it was judged.

    Attributes
    ----------
    at
        When, aware UTC.
    """

    history: History
    verdict: Verdict
    at: datetime

    @property
    def key(self) -> Station:
        """Whose it is."""
        return self.history.site, self.history.station


class Board:
    """The latest look at each station; written by the host's loop, read by any thread.

    Attributes
    ----------
    edition
        Grows with every look that is put up, so that a reader sees cheaply whether anything is new.
    """

    def __init__(self) -> None:
        self.edition = 0
        self._seen: dict[Station, Seen] = {}

    def put(self, seen: Seen) -> None:
        """Put up a look in the place of the station's last one."""
        self._seen[seen.key] = seen
        self.edition += 1

    def of(self, site: str, station: str) -> Seen | None:
        """Return the latest look at a station; nothing if there was none since the host began."""
        return self._seen.get((site, station))

    def all(self) -> dict[Station, Seen]:
        """Return the latest looks, as they are now."""
        return dict(self._seen)
