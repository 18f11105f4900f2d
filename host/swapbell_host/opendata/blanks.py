"""What of a station's tallies stands for nothing: nobody watches by night, and of two counters neither is counted."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

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
        span = _span(told)
        blank_s = overlap_s(span, self.nights) + overlap_s(span, self.twofold)
        return told.tally.watched_s * max(0.0, 1.0 - blank_s / (span[1] - span[0]).total_seconds())

    def crossings(self, told: Told) -> Iterator[Crossing]:
        """Yield those of a tally that one counter alone tells of."""
        from_at, to_at = _span(told)
        for crossing in told.tally.crossings:
            at = min(from_at + timedelta(seconds=crossing.at_s), to_at - timedelta.resolution)
            if not overlap_s((at, at + timedelta.resolution), self.twofold):
                yield crossing


def blanks(store: Store, each: Chosen) -> Blanks:
    """Return when nothing is known of a station, as far as it has tallies in its span."""
    ends = reach(store, each)
    if ends is None:
        return Blanks((), ())
    from_at, to_at = ends[0] - STRETCH, ends[1] + STRETCH
    counts = Countbook(store).span(*each.plan.key, from_at, to_at)
    twofold = runs([count.from_at for count in counts if count.twofold_s], STRETCH)
    return Blanks(each.timeline.nights((from_at, to_at)) or (), twofold)


def _span(told: Told) -> Span:
    assert told.from_at is not None
    return told.from_at, told.from_at + max(timedelta(seconds=told.tally.seconds), timedelta.resolution)
