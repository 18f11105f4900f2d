"""What a station counted in a stretch of time: the value that everything longer than a look is made of."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import attrgetter, itemgetter

from swapbell_models.traffic import WINDOW_S, Span

STRETCH = timedelta(seconds=WINDOW_S)
_from_at = attrgetter("from_at")
_NONE = timedelta()
_EPOCH_AT = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Count:
    """What one station counted in one stretch of time; one without any tally is not there.

    Attributes
    ----------
    from_at
        When the stretch begins, aware UTC.
    visits, outs
        Wasps that came in, and that went out.
    small, large
        Bodies of these sizes that came in.
    seconds, watched_s
        How much time the tallies of the stretch cover, and how much of it was watched [s].
    twofold_s
        How much of the stretch two counters claimed under one name; nothing of it is in the other numbers [s].
    """

    from_at: datetime
    visits: int
    outs: int
    small: int
    large: int
    seconds: float
    watched_s: float
    twofold_s: float = 0.0


def known(number: int, watched_s: float) -> int | None:
    """Return how many were counted; nothing where none were and nobody watched [s]: no data is not zero."""
    return number if number or watched_s > 0.0 else None


def floor(at: datetime, step: timedelta) -> datetime:
    """Return the beginning of the step that holds a moment; steps count from 1970-01-01 UTC."""
    return at - (at - _EPOCH_AT) % step


def by_day(counts: Sequence[Count], nights: Sequence[Span]) -> list[Count]:
    """Return counts by five minutes, of which nobody watched what lies in the night, whatever the counter says.

    What was seen there stays: a gap can hide visits but cannot invent them.

    Parameters
    ----------
    counts : sequence of Count
        In time order.
    nights : sequence of (datetime, datetime)
        In time order, without overlap.
    """
    found = [*counts]
    for begins_at, ends_at in nights:
        first = bisect_right(found, begins_at - STRETCH, key=_from_at)
        for nth in range(first, bisect_left(found, ends_at, key=_from_at)):
            count = found[nth]
            light = max(begins_at - count.from_at, _NONE) + max(count.from_at + STRETCH - ends_at, _NONE)
            found[nth] = replace(count, watched_s=count.watched_s * light / STRETCH)
    return found


def overlap_s(span: Span, others: Sequence[Span]) -> float:
    """Return how much of a stretch lies in others, which are in time order and do not overlap [s]."""
    first, last = bisect_right(others, span[0], key=itemgetter(1)), bisect_left(others, span[1], key=itemgetter(0))
    parts = (min(span[1], ends_at) - max(span[0], begins_at) for begins_at, ends_at in others[first:last])
    return sum(parts, _NONE).total_seconds()


def runs(begins: Sequence[datetime], step: timedelta) -> list[Span]:
    """Return the stretches that steps in time order make up, where one ends as the next begins."""
    found = list[Span]()
    for at in begins:
        first_at = found.pop()[0] if found and found[-1][1] == at else at
        found.append((first_at, at + step))
    return found


def joined(counts: Iterable[Count], step: timedelta) -> list[Count]:
    """Return counts in time order summed by a wider step."""
    steps = groupby(counts, lambda count: floor(count.from_at, step))
    return [_sum(from_at, list(parts)) for from_at, parts in steps]


def _sum(from_at: datetime, parts: Sequence[Count]) -> Count:
    return Count(
        from_at,
        sum(part.visits for part in parts),
        sum(part.outs for part in parts),
        sum(part.small for part in parts),
        sum(part.large for part in parts),
        sum(part.seconds for part in parts),
        sum(part.watched_s for part in parts),
        sum(part.twofold_s for part in parts),
    )
