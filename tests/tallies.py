"""Tallies as a counter would report them, from the moments of the visits; invented, for tests."""

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

START_AT = datetime(2026, 2, 3, 1, 0, tzinfo=UTC)


def moment(at_s: float) -> datetime:
    """Return the moment `at_s` seconds after the start."""
    return START_AT + timedelta(seconds=at_s)


def edges(until_s: float, every_s: float = 15.0) -> list[float]:
    """Return the edges of equal tallies from the start to `until_s`."""
    return [k * every_s for k in range(int(until_s / every_s) + 1)]


def watched_always(from_s: float, to_s: float) -> float:
    """Return all of the stretch."""
    return to_s - from_s


def blind_between(gap_from_s: float, gap_to_s: float) -> Callable[[float, float], float]:
    """Return what was watched of a stretch by a counter that was blind for a while."""
    return lambda from_s, to_s: to_s - from_s - max(0.0, min(to_s, gap_to_s) - max(from_s, gap_from_s))


def tallies(
    visits_s: Iterable[float], cut_s: Sequence[float], watched: Callable[[float, float], float] = watched_always
) -> tuple[Tally, ...]:
    """Return the tallies cut at the edges `cut_s`; visits beyond the last edge are not yet reported."""
    visits = sorted(visits_s)
    return tuple(
        tally(seq, from_s, to_s, [at_s for at_s in visits if from_s <= at_s < to_s], watched(from_s, to_s))
        for seq, (from_s, to_s) in enumerate(pairwise(cut_s), start=1)
    )


def tally(seq: int, from_s: float, to_s: float, visits_s: Sequence[float], watched_s: float) -> Tally:
    """Return one tally with the visits at `visits_s`, each of which also left again."""
    return Tally(
        station="gate",
        boot="first",
        seq=seq,
        from_at=moment(from_s),
        up_s=from_s,
        clock=Clock.SYNCED,
        seconds=to_s - from_s,
        watched_s=watched_s,
        crossings=tuple(
            Crossing(at_s=at_s - from_s, direction=direction, size=SizeClass.WASP, length_mm=13.0)
            for at_s in visits_s
            for direction in (Direction.IN, Direction.OUT)
        ),
    )
