"""Where a station stood in its job, and where it hung, at any moment of the past, by its service log."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from swapbell_host.jobs.entry import EVENTS, Act, Entry, standing, start
from swapbell_host.jobs.plan import Station
from swapbell_models.calendar.place import Place
from swapbell_models.job import Job, Terms
from swapbell_models.phase import Phase


@dataclass(frozen=True, slots=True)
class Stay:
    """How long a station hung at one place.

    Attributes
    ----------
    from_at
        Since when, aware UTC; nothing for the place of the plan.
    place
        Where; nothing if nobody has said.
    """

    from_at: datetime | None
    place: Place | None


class Timeline:
    """The past of one station.

    Parameters
    ----------
    station, terms, entries
        Its plan, by when things are due there, and all that was logged of it.
    """

    def __init__(self, station: Station, terms: Terms, entries: Iterable[Entry]) -> None:
        stand = standing(entries)
        self._jobs = list(_jobs(start(station, terms, stand), stand))
        self._moments = [job.logged_at for job in self._jobs]
        moves = [Stay(entry.at, entry.place) for entry in stand if entry.act is Act.MOVED]
        self.stays = (Stay(None, station.place), *moves)

    def phase(self, at: datetime) -> Phase | None:
        """Return where the job stood at a moment, aware; nothing before anybody knew of the station."""
        known = bisect_right(self._moments, at)
        return self._jobs[known - 1].at(at).phase if known else None


def _jobs(job: Job, stand: Iterable[Entry]) -> Iterator[Job]:
    yield job
    for entry in stand:
        if event := EVENTS.get(entry.act):
            job = job.after(event, entry.at)
            yield job
