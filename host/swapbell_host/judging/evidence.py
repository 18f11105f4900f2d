"""What it takes the ledger's longer memory to know of a station: days of counts, what was told, what is missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.count import Count
from swapbell_host.judging.history import PastNotice
from swapbell_host.judging.look import Look
from swapbell_host.verifying.finding import Finding
from swapbell_models.notice import NoticeKind

STRETCH = timedelta(minutes=5)
# How far back the counts of an `Evidence` reach: a day, and the one before it to compare.
REACH = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Missing:
    """Tallies of one boot that did not come.

    Attributes
    ----------
    from_at
        When the first of them was counted, aware UTC.
    tallies
        How many.
    lost
        Whether the station no longer has them.
    """

    from_at: datetime
    tallies: int
    lost: bool


@dataclass(frozen=True, slots=True)
class Evidence:
    """What every slow rule is given.

    Attributes
    ----------
    look
        The latest look at the station.
    told
        What was told of it lately, open or not, oldest first.
    counts
        Its stretches of the last two days (`REACH`), in time order.
    missing
        The larger holes in them, in time order.
    forecast
        What is to be expected within a day, for a person; nothing where nothing is, or nobody can say.
    finding
        What became of its traffic after a swap; nothing unless it verifies.
    """

    look: Look
    told: Sequence[PastNotice] = ()
    counts: Sequence[Count] = ()
    missing: Sequence[Missing] = ()
    forecast: str | None = None
    finding: Finding | None = None

    @property
    def now(self) -> datetime:
        """The moment of the look, aware UTC."""
        return self.look.now

    def since(self, at: datetime | None, *kinds: NoticeKind) -> list[PastNotice]:
        """Return what was told of some kinds since a moment; nothing since never."""
        return [past for past in self.told if past.kind in kinds and at is not None and past.raised_at >= at]

    def open(self, kind: NoticeKind) -> PastNotice | None:
        """Return the latest open notice of a kind; nothing if none is open."""
        return next((past for past in reversed(self.told) if past.kind is kind and past.is_open), None)
