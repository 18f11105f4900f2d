"""What of a station's tallies stands for nothing: nobody watches by night, and of two counters neither is counted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.store import Store
from swapbell_host.count import STRETCH, overlap_s, runs
from swapbell_host.opendata.choosing import Chosen
from swapbell_host.opendata.reading import Told, reach
from swapbell_models.tally import Crossing
from swapbell_models.traffic import Span


@dataclass(frozen=True, slots=True)
class Blanks:
    """When nothing is known of a station, whatever its tallies say; both in time order.

    Attributes
    ----------
    nights
        When nobody could watch; what was counted then stays.
    twofold
        When two counters reported under its name.
    """

    nights: Sequence[Span]
    twofold: Sequence[Span]

    def watched_s(self, told: Told) -> float:
        """Return how much of a tally was watched after all [s]; a night that two counters tell of is dark once."""
        if told.span is None or told.tally.watched_s <= 0.0:
            return 0.0
        from_at, to_at = told.span
        blank_s = overlap_s(told.span, self.nights) + overlap_s(told.span, self.twofold)
        return told.tally.watched_s * max(0.0, 1.0 - blank_s / (to_at - from_at).total_seconds())

    def crossings(self, told: Told) -> Sequence[Crossing]:
        """Return those of a tally that one counter alone tells of."""
        if told.span is None or not self.twofold:
            return told.tally.crossings
        from_at, to_at = told.span
        ats = (
            min(from_at + timedelta(seconds=each.at_s), to_at - timedelta.resolution) for each in told.tally.crossings
        )
        return [each for each, at in zip(told.tally.crossings, ats, strict=True) if not self._is_twofold(at)]

    def _is_twofold(self, at: datetime) -> bool:
        return overlap_s((at, at + timedelta.resolution), self.twofold) > 0.0

    @property
    def twofold_s(self) -> float:
        """How long two counters reported under its name [s]."""
        return sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in self.twofold)


def blanks(store: Store, each: Chosen) -> Blanks:
    """Return when nothing is known of a station, as far as it has tallies in its span."""
    ends = reach(store, each)
    if ends is None:
        return Blanks((), ())
    from_at, to_at = ends[0] - STRETCH, ends[1] + STRETCH
    counts = Countbook(store).span(*each.plan.key, from_at, to_at)
    twofold = runs([count.from_at for count in counts if count.twofold_s], STRETCH)
    return Blanks(each.timeline.nights((from_at, to_at)) or (), twofold)
