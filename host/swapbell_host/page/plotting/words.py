"""What a plot shows, in sentences: for whoever cannot see it, and for whoever wants it short."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import groupby

from swapbell_host.count import Count
from swapbell_host.page.plotting.clock import said
from swapbell_host.page.plotting.plot import Pair, Plot
from swapbell_host.page.plotting.points import STEP

# Our choice: two days of hours can be imagined, more cannot.
LONG_H = 48


def summary(counts: Sequence[Count], shown: Plot) -> list[str]:
    """Return what a plot shows, sentence by sentence, from its counts by five minutes in time order."""
    watched_s = sum(count.watched_s for count in counts)
    begin, end = said(shown.from_at, shown.zone), said(shown.until_at, shown.zone)
    if watched_s <= 0.0 and not any(count.visits for count in counts):
        return [f"From {begin} to {end} nobody watched: whether wasps came is not known.", *_twofold(shown)]
    visits = sum(count.visits for count in counts)
    share = min(watched_s / max((shown.until_at - shown.from_at).total_seconds(), 1.0), 1.0)
    found = [
        f"From {begin} to {end}: {_times(visits, 'visit')} counted in {lasting(watched_s)} watched ({share:.0%})."
    ]
    return [*found, *_foraged(counts, shown), _fullest(counts, shown), *_unwatched(counts, shown), *_twofold(shown)]


def lasting(seconds: float) -> str:
    """Return a length of time as a person says it: in days and hours, hours and minutes, or minutes."""
    hours, minutes = divmod(round(seconds / 60.0), 60)
    if hours >= LONG_H:
        return f"{hours // 24} d {hours % 24} h"
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def _foraged(counts: Sequence[Count], shown: Plot) -> list[str]:
    if shown.foraging is None:
        return ["The station's place is not known, and so its foraging hours are not."]
    pairs = [
        (begin_at, min(end_at, shown.until_at)) for begin_at, end_at in shown.foraging if begin_at < shown.until_at
    ]
    hours_s = sum((end_at - begin_at).total_seconds() for begin_at, end_at in pairs)
    if hours_s <= 0.0:
        return []
    return [f"{min(_watched_s(counts, pairs) / hours_s, 1.0):.0%} of the {lasting(hours_s)} of foraging was watched."]


def _watched_s(counts: Sequence[Count], pairs: Sequence[Pair]) -> float:
    """Return how much of some stretches in time order was watched; a count goes where its middle lies [s]."""
    total_s, nth, middle = 0.0, 0, STEP / 2
    for count in counts:
        while nth < len(pairs) and pairs[nth][1] <= count.from_at + middle:
            nth += 1
        if nth < len(pairs) and pairs[nth][0] <= count.from_at + middle:
            total_s += count.watched_s
    return total_s


def _fullest(counts: Sequence[Count], shown: Plot) -> str:
    fullest = max(counts, key=lambda count: count.visits)
    if not fullest.visits:
        return "None of the five minutes that were watched had a visit."
    reached = sum(_reached for _reached, _ in groupby(counts, lambda count: count.visits >= shown.rule))
    how_often = f"reached in {_times(reached, 'spell')}" if reached else "not reached in any"
    return (
        f"The fullest five minutes had {_times(fullest.visits, 'visit')}, at {said(fullest.from_at, shown.zone)}; "
        f"the rule of {shown.rule:g} was {how_often}."
    )


def _unwatched(counts: Sequence[Count], shown: Plot) -> list[str]:
    gaps = unwatched(counts, shown.from_at, shown.until_at)
    if not gaps:
        return []
    longest, total = max(gaps, key=_length), sum(map(_length, gaps), timedelta())
    return [
        f"Nobody watched for {lasting(total.total_seconds())} in {_times(len(gaps), 'gap')}, the longest from "
        f"{said(longest[0], shown.zone)} to {said(longest[1], shown.zone)}."
    ]


def _twofold(shown: Plot) -> list[str]:
    if not shown.twofold:
        return []
    total = sum(map(_length, shown.twofold), timedelta())
    return [
        f"Two counters reported under its name for {lasting(total.total_seconds())}, first at "
        f"{said(shown.twofold[0][0], shown.zone)}: neither is counted, and what happened then is not known."
    ]


def unwatched(counts: Sequence[Count], from_at: datetime, until_at: datetime) -> list[Pair]:
    """Return the stretches between two moments of which nobody watched five minutes or more, in time order."""
    watched = [count.from_at for count in counts if count.watched_s > 0.0]
    begins, ends = [from_at, *(at + STEP for at in watched)], [*watched, until_at]
    return [(begin_at, end_at) for begin_at, end_at in zip(begins, ends, strict=True) if end_at - begin_at >= STEP]


def _length(gap: Pair) -> timedelta:
    return gap[1] - gap[0]


def _times(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
