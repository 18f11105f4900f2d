"""When fresh lure hung at a station, and which swaps a site had, as the service logs tell."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Act, Entry
from swapbell_models.traffic import Span

# Our choice: stations of a site share nests and are swapped in one trip or two; what comes later is another swap.
SWAP_LASTS = timedelta(days=2)

LURES = frozenset({Act.LURED, Act.REFRESHED, Act.RELURED})
# What ends the time of a lure: another one, toxic bait, or the end of the job.
_ENDS = LURES | {Act.SWAPPED, Act.REBAITED, Act.CLOSED, Act.GIVEN_UP}


@dataclass(frozen=True, slots=True)
class Swap:
    """The lure of a site swapped for toxic bait, at one station or at several together.

    Attributes
    ----------
    stations
        When each was swapped, aware UTC, in the order in which they were; at least one.
    """

    stations: Mapping[Key, datetime]

    @property
    def from_at(self) -> datetime:
        """When the first station was swapped, aware UTC."""
        return min(self.stations.values())


def swaps(logs: Mapping[Key, Sequence[Entry]]) -> list[Swap]:
    """Return the swaps of a site from what stands in the logs of its stations, in time order."""
    done = sorted((entry.at, key) for key, entries in logs.items() for entry in entries if entry.act is Act.SWAPPED)
    found = list[dict[Key, datetime]]()
    for at, key in done:
        if not found or key in found[-1] or at - min(found[-1].values()) > SWAP_LASTS:
            found.append({})
        found[-1][key] = at
    return [Swap(stations) for stations in found]


def fresh(entries: Sequence[Entry], lasts: timedelta, until: datetime) -> list[Span]:
    """Return when fresh lure hung, in time order.

    Parameters
    ----------
    entries : sequence of Entry
        What stands in the log of one station, in time order.
    lasts : timedelta
        How long a lure stays fresh there.
    until : datetime
        The end of the look, aware UTC.
    """
    acts = [(entry.act, entry.at) for entry in entries if entry.act in _ENDS and entry.at <= until]
    ends = pairwise([*acts, (Act.CLOSED, until)])
    return [(at, min(next_at, at + lasts)) for (act, at), (_, next_at) in ends if act in LURES]


def before(entries: Sequence[Entry], swapped_at: datetime, longest: timedelta) -> Span:
    """Return the stretch before a swap, back to the last move at most: elsewhere was another traffic."""
    moves = [entry.at for entry in entries if entry.act is Act.MOVED and entry.at < swapped_at]
    return max([swapped_at - longest, *moves]), swapped_at


def after(entries: Sequence[Entry], swapped_at: datetime, until: datetime) -> Span | None:
    """Return the stretch from the fresh lure after a swap to the next swap; nothing where none hangs yet."""
    later = [entry for entry in entries if swapped_at < entry.at <= until]
    again = next((entry.at for entry in later if entry.act is Act.SWAPPED), until)
    relured = next((entry.at for entry in later if entry.act is Act.RELURED and entry.at < again), None)
    return None if relured is None else (relured, again)


def moved(entries: Sequence[Entry], span: Span) -> bool:
    """Tell whether a station was moved within a stretch: elsewhere is another traffic."""
    return any(entry.act is Act.MOVED and span[0] < entry.at < span[1] for entry in entries)
