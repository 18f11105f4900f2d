"""From what the ledger knows of a station to what a person should hear. Pure: no clock, no disk, no network."""

from dataclasses import dataclass
from datetime import datetime

from swapbell_models.message import Health
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase
from swapbell_models.tally import Tally


@dataclass(frozen=True, slots=True)
class PastNotice:
    """A notice that was raised before.

    Attributes
    ----------
    raised_at
        The moment of its evidence, aware UTC.
    acknowledged_at
        When a person acknowledged it; nothing while it is open.
    """

    kind: NoticeKind
    raised_at: datetime
    acknowledged_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class History:
    """What the ledger knows of one station.

    Attributes
    ----------
    phase
        Where the station stands in its job.
    tallies
        The last hour's, in time order, with times that the ledger vouches for (a boot that never knew the time of
        day is left out); the latest one always, however old it is.
    health
        What the station last said of itself.
    notices
        Those still open, and those acknowledged within the last `REST`.
    """

    site: str
    station: str
    phase: Phase
    tallies: tuple[Tally, ...] = ()
    health: Health | None = None
    notices: tuple[PastNotice, ...] = ()
