"""What a station can need of a person, the most pressing first, what calls for it, and what that is known from."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import Enum

from swapbell_host.board import Seen
from swapbell_host.jobs.entry import Entry
from swapbell_host.jobs.plan import Role, Station
from swapbell_host.judging.history import TOXIC_OUT
from swapbell_models.job import Job
from swapbell_models.notice import Notice, NoticeKind
from swapbell_models.phase import Phase
from swapbell_models.sitewide import SiteVerdict

_NEVER_AT = datetime.max.replace(tzinfo=UTC)


class Need(Enum):
    """What a station needs of a person, the most pressing first."""

    LEFT_OUT = "take toxic bait out now"
    SWAP = "swap now"
    LOOK_FIRST = "do not swap yet"
    DUE_OUT = "toxic bait due out"
    VISITORS = "look at the visitors"
    LOST = "look for lost bait"
    DISPOSE = "dispose of bait"
    VERIFY = "verify"
    REFRESH = "refresh the lure"
    COUNTER = "see to the counter"
    COMING = "get ready"
    HANG = "hang it out"
    NOTHING = "nothing now"
    ENDED = "job ended"


RANK = {need: rank for rank, need in enumerate(Need)}
# Who needs this needs nobody now.
IDLE = frozenset({Need.NOTHING, Need.ENDED})
# What is needed where a notice says so.
ANSWERS = {
    NoticeKind.LEFT_OUT: Need.LEFT_OUT,
    NoticeKind.SWAP_OVERDUE: Need.SWAP,
    NoticeKind.READY: Need.SWAP,
    NoticeKind.DUE_OUT: Need.DUE_OUT,
    NoticeKind.VISITORS: Need.VISITORS,
    NoticeKind.REINVASION: Need.VERIFY,
    NoticeKind.COLLAPSED: Need.VERIFY,
    NoticeKind.SILENT: Need.COUNTER,
    NoticeKind.BLIND: Need.COUNTER,
    NoticeKind.TWOFOLD: Need.COUNTER,
    NoticeKind.HOLE: Need.COUNTER,
    NoticeKind.SUPPLY: Need.COUNTER,
    NoticeKind.TOUCHED: Need.COMING,
    NoticeKind.FORECAST: Need.COMING,
}
# While a job stands elsewhere, the need is answered already, whatever a notice still says.
WHILE = {
    Need.LEFT_OUT: frozenset({Phase.OVERDUE}),
    Need.DUE_OUT: TOXIC_OUT,
    Need.SWAP: frozenset({Phase.LURING}),
    Need.VISITORS: frozenset({Phase.LURING}),
    Need.COMING: frozenset({Phase.LURING}),
    Need.VERIFY: frozenset({Phase.VERIFYING}),
}


@dataclass(frozen=True, slots=True)
class Case:
    """What is known of one station.

    Attributes
    ----------
    job
        Where its job stands now.
    seen
        The latest look at it; nothing if it was not judged yet.
    notices
        The open ones that are not shelved.
    shelved
        The kinds of the open ones that are.
    site
        The verdict on its whole site; nothing if it is alone there, or was not judged yet.
    sighting
        The entry of its log that names bees or other visitors at this lure; nothing where the last one says none.
    """

    station: Station
    job: Job
    seen: Seen | None = None
    notices: tuple[Notice, ...] = ()
    shelved: frozenset[NoticeKind] = field(default_factory=frozenset[NoticeKind])
    site: SiteVerdict | None = None
    sighting: Entry | None = None

    @property
    def swaps(self) -> bool:
        """Whether it waits with lure for its swap."""
        return self.job.phase is Phase.LURING and self.station.role is Role.BAIT


@dataclass(frozen=True, slots=True)
class Call:
    """One thing that a station needs.

    Attributes
    ----------
    words
        The reason, for a person.
    by_at, since_at
        By when it is to be done and since when it is needed, aware UTC; nothing where nobody can say.
    kind
        The kind of notice that says the same; nothing if there is none.
    """

    need: Need
    words: str
    by_at: datetime | None = None
    since_at: datetime | None = None
    kind: NoticeKind | None = None

    @property
    def order(self) -> tuple[int, datetime, datetime]:
        """What calls are sorted by: the need, then the earliest deadline, then the longest wait."""
        return RANK[self.need], soonest(self.by_at), soonest(self.since_at)


def soonest(by_at: datetime | None) -> datetime:
    """Return what deadlines are sorted by: one that nobody set comes last."""
    return by_at or _NEVER_AT
