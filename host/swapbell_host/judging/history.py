"""What the ledger knows of a station when it is judged."""

from dataclasses import dataclass
from datetime import datetime

from swapbell_host.jobs.entry import Entry
from swapbell_host.jobs.plan import Role
from swapbell_models.calendar.place import Place
from swapbell_models.job import Job
from swapbell_models.message import Health, StationState
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase
from swapbell_models.tally import Tally

# Our choice: where a count is expected, so that its absence is news.
COUNTING = frozenset({Phase.LURING, Phase.TOXIC, Phase.OVERDUE, Phase.VERIFYING})
TOXIC_OUT = frozenset({Phase.TOXIC, Phase.OVERDUE})


@dataclass(frozen=True, slots=True)
class PastNotice:
    """A notice that was raised before.

    Attributes
    ----------
    raised_at
        The moment of its evidence, aware UTC.
    acknowledged_at, ended_at
        When a person acknowledged it, and when it ended by itself; nothing while it is open.
    id
        Its number in the ledger.
    shelved_until
        Until when a person put it off; nothing if nobody did.
    """

    kind: NoticeKind
    raised_at: datetime
    acknowledged_at: datetime | None = None
    id: int = 0
    ended_at: datetime | None = None
    shelved_until: datetime | None = None

    @property
    def is_open(self) -> bool:
        """Whether it still asks for somebody."""
        return self.acknowledged_at is None and self.ended_at is None


@dataclass(frozen=True, slots=True)
class History:
    """What the ledger knows of one station.

    Attributes
    ----------
    phase
        Where the station stands in its job.
    tallies
        The last hour's, in time order, with times that the ledger vouches for (a boot that never knew the time of
        day is left out); the latest one always, however old it is. None that is dated ahead of the host's clock.
    ahead_at
        The end of the last one that came dated ahead of the host's clock, aware UTC; nothing if none did.
    health
        What the station last said of itself.
    role
        Whether it may be swapped at all.
    place
        Where the ledger says that it hangs; nothing if nobody has said.
    job
        The same with its deadlines, at the moment of judging; nothing where only a configuration states the phase.
    notices
        Those still open, and those acknowledged lately (`rules.REMEMBERED`); none that ended by itself.
    sighting
        The entry of its log that names bees or other visitors at this lure; nothing where the last one says none.
    """

    site: str
    station: str
    phase: Phase
    tallies: tuple[Tally, ...] = ()
    health: Health | None = None
    notices: tuple[PastNotice, ...] = ()
    ahead_at: datetime | None = None
    job: Job | None = None
    role: Role = Role.BAIT
    place: Place | None = None
    sighting: Entry | None = None

    @property
    def state(self) -> StationState | None:
        """What the station last said that it does; nothing if it never spoke."""
        return self.health.state if self.health else None

    @property
    def swaps(self) -> bool:
        """Whether a swap is what comes next: a control station is never swapped."""
        return self.phase is Phase.LURING and self.role is Role.BAIT

    def open(self, kind: NoticeKind) -> PastNotice | None:
        """Return the latest open notice of a kind; nothing if none is open."""
        return next((past for past in reversed(self.notices) if past.kind is kind and past.is_open), None)
