"""Where a station stood in its job, and where it hung, at any moment of the past, by its service log."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from swapbell_host.jobs.entry import EVENTS, Act, Entry, standing, start
from swapbell_host.jobs.plan import Station
from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place
from swapbell_models.job import Job, Terms
from swapbell_models.phase import Phase
from swapbell_models.traffic import Span


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

    def nights(self, span: Span) -> list[Span] | None:
        """Return when it was night where the station hung in a stretch, in order; nothing if nobody said where."""
        if not any(stay.place for stay in self.stays):
            return None
        edges = [max(span[0], min(span[1], stay.from_at or span[0])) for stay in self.stays]
        ends = pairwise([*edges, span[1]])
        parts = ((stay.place, *pair) for stay, pair in zip(self.stays, ends, strict=True))
        return [night for place, a, b in parts if place and a < b for night in nights(place, a, b)]

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
