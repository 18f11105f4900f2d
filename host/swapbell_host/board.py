"""How every station stood when it was last judged, for whoever shows it while the host runs."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime

from swapbell_host.intake import Station
from swapbell_host.judging.history import History
from swapbell_models.readiness import Rule, Verdict
from swapbell_models.sitewide import SiteVerdict, assess_site


@dataclass(frozen=True, slots=True)
class Seen:
    """One station as it was judged.

    Attributes
    ----------
    at
        When, aware UTC.
    rule
        By which rule.
    """

    history: History
    verdict: Verdict
    at: datetime
    rule: Rule = field(default_factory=Rule)

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
        self._of_site: defaultdict[str, dict[Station, Seen]] = defaultdict(dict)

    def put(self, seen: Seen) -> None:
        """Put up a look in the place of the station's last one."""
        self._seen[seen.key] = self._of_site[seen.history.site][seen.key] = seen
        self.edition += 1

    def of(self, site: str, station: str) -> Seen | None:
        """Return the latest look at a station; nothing if there was none since the host began."""
        return self._seen.get((site, station))

    def all(self) -> dict[Station, Seen]:
        """Return the latest looks, as they are now."""
        return dict(self._seen)

    def looked(self, site: str) -> int:
        """Return how many stations of a site were looked at since the host began."""
        return len(self._of_site.get(site, {}))

    def visited(self, site: str, station: str) -> bool:
        """Tell whether the log names bees or other visitors at a station's lure, as of its latest look."""
        seen = self.of(site, station)
        return seen is not None and seen.history.sighting is not None

    def site(self, name: str) -> SiteVerdict | None:
        """Return the verdict on a site by the latest looks; nothing unless several of its stations are to be swapped.

        A single station stands for itself. One that was not looked at yet is not among them: it counts from its first
        look on.
        """
        found = [seen for seen in list(self._of_site.get(name, {}).values()) if seen.history.swaps]
        return assess_site([seen.verdict for seen in found], found[0].rule) if len(found) > 1 else None
