"""Tallies as Camtrap DP has them: an observation for what came in, and the effort and direction behind it.

An observation counts visits, not individuals: one wasp may come many times. Only what came in is counted there, so
that counts can be summed, as the standard asks of event-based observations; what went out stands in the effort. Body
length tells no species, not even an insect from a spider: the scientific name says only that it was an animal.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version

from swapbell_host.count import known
from swapbell_host.opendata import standard
from swapbell_host.opendata.blanks import Blanks
from swapbell_host.opendata.choosing import Chosen
from swapbell_host.opendata.deployments import ceiling_words, floor_words
from swapbell_host.opendata.reading import Told
from swapbell_host.opendata.table import Column, Kind, Row, Table
from swapbell_host.opendata.tables import REPAIRED, SYNCED
from swapbell_models.phase import Phase
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

# The most that body length can tell; also the only name of the package's taxonomic coverage.
TAXON = {"scientificName": "Animalia", "taxonRank": "kingdom"}
_GAP = "empty where nothing was watched: no data is not zero"

EFFORT = Table(
    "effort",
    "The effort behind the observations, and the direction of every crossing: one row for each short report (tally) "
    "of a counter. A row with watched seconds and without observations means that nothing came; where there is no "
    "row, nobody knows.",
    (
        Column("eventID", Kind.TEXT, "The tally, as in observations.eventID.", needed=True),
        Column("deploymentID", Kind.TEXT, "Foreign key to deployments.deploymentID.", needed=True),
        Column("eventStart", Kind.MOMENT, "When it begins, UTC, to the microsecond.", needed=True),
        Column("eventEnd", Kind.MOMENT, "When it ends, UTC, to the microsecond.", needed=True),
        Column("seconds", Kind.NUMBER, "How long it is.", unit="s", needed=True),
        Column(
            "watchedSeconds",
            Kind.NUMBER,
            "How much of it was really watched: nothing outside of the foraging hours, from 11 min before sunrise to "
            "11 min after sunset, and nothing while two counters reported under one name: neither is counted then.",
            unit="s",
            needed=True,
        ),
        Column(
            "phase",
            Kind.TEXT,
            "Where the station's job stood, by its service log; empty if nobody has said.",
            choices=tuple(phase.value for phase in Phase),
        ),
        Column(
            "clock",
            Kind.TEXT,
            "synced: the counter knew the time; repaired: it was found later from the same start of the counter.",
            choices=(SYNCED, REPAIRED),
            needed=True,
        ),
        *(
            Column(f"{way.value}{size.value.title()}", Kind.INTEGER, f"{size.value} {way.value}; {_GAP}.", "count")
            for way in Direction
            for size in SizeClass
        ),
    ),
    ("eventID",),
)


@dataclass(frozen=True, slots=True)
class Watched:
    """One tally of a deployment, whose time is known."""

    each: Chosen
    told: Told
    blanks: Blanks
    deployment: str
    begin_at: datetime
    end_at: datetime

    @property
    def id(self) -> str:
        """What names it for ever."""
        tally = self.told.tally
        return f"{self.each.plan}/{tally.boot}/{tally.seq}"

    @property
    def phase(self) -> str | None:
        """Where the station's job stood."""
        phase = self.each.timeline.phase(self.begin_at)
        return phase.value if phase else None

    def observations(self) -> Iterator[Row]:
        """Yield what came in, by size class."""
        bodies = self.blanks.crossings(self.told)
        came = Counter(crossing.size for crossing in bodies if crossing.direction is Direction.IN)
        for size in SizeClass:
            if came[size]:
                yield standard.row(standard.OBSERVATIONS, self._observation(size, came[size]))

    def effort(self) -> Row:
        """Return its effort and directions."""
        watched_s = self.blanks.watched_s(self.told)
        seen = Counter((crossing.direction, crossing.size) for crossing in self.blanks.crossings(self.told))
        return (
            self.id,
            self.deployment,
            self.begin_at,
            self.end_at,
            self.told.tally.seconds,
            watched_s,
            self.phase,
            self.told.clock,
            *(known(seen[way, size], watched_s) for way in Direction for size in SizeClass),
        )

    def _observation(self, size: SizeClass, count: int) -> dict[str, str | int | None]:
        return {
            "observationID": f"{self.id}/{size.value}",
            "deploymentID": self.deployment,
            "eventID": self.id,
            "eventStart": floor_words(self.begin_at),
            "eventEnd": ceiling_words(self.end_at),
            "observationLevel": "event",
            "observationType": "animal",
            "scientificName": TAXON["scientificName"],
            "count": count,
            "classificationMethod": "machine",
            "classifiedBy": _counter(),
            "observationTags": standard.tags(
                {"sizeClass": size.value, "direction": Direction.IN.value, "phase": self.phase}
            ),
        }


@cache
def _counter() -> str:
    """Return who sorted the bodies; looking the version up takes a thousand times as long as a row."""
    return f"swapbell {version('swapbell')}"
