"""Before and after a swap compared, against the stations of the site that got no toxic bait.

Where too little was watched there is no number, and the reason is said.
"""

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from swapbell_host.jobs import lures
from swapbell_host.jobs.lures import Swap
from swapbell_host.verifying.finding import NOTHING, S_PER_H, Finding, Look, Side
from swapbell_host.verifying.lit import Seen, Watched, alike, seen, spread
from swapbell_models.proof.fall import Fall, fall, fall_against_control
from swapbell_models.proof.rebound import LOOK_DAYS, Rebound, rebound
from swapbell_models.traffic import Span

# Our choice: traffic grows from day to day, so what was earlier is not what the swap found.
BEFORE_MAX = timedelta(days=2)
# Our choice: one quiet look of five minutes proves almost nothing; an hour is the least of which the scatter is seen.
WATCHED_MIN_S = 3600.0


def verify(
    swap: Swap, stations: Sequence[Watched], controls: Sequence[Watched], now: datetime
) -> tuple[Finding | None, tuple[Finding, ...]]:
    """Return what became of the traffic of all swapped stations together, and of each.

    Parameters
    ----------
    swap : Swap
        Which swap.
    stations, controls : sequence of Watched
        The stations of the site that were swapped then, and those that got no toxic bait.
    now : datetime
        Aware UTC.

    Returns
    -------
    Finding or None
        Of those together of which there is a number; nothing where there are fewer than two.
    tuple of Finding
        Of each, in the order given.
    """
    each = tuple(_find(swap, [station], controls, now) for station in stations)
    told = [station for station, found in zip(stations, each, strict=True) if found.fall]
    return (_find(swap, told, controls, now) if len(told) > 1 else None), each


def _find(swap: Swap, stations: Sequence[Watched], controls: Sequence[Watched], now: datetime) -> Finding:
    keys = tuple(each.key for each in stations)
    spans = _spans(swap, stations, now)
    if isinstance(spans, str):
        return Finding(keys, NOTHING, NOTHING, why=spans)
    fixed = [each for each in controls if not lures.moved(each.entries, (spans[0][0], spans[1][1]))]
    told = [seen(group, span, now) for group in (stations, fixed) for span in spans]
    groups = every if _enough(every := alike(told)) else alike(told[:2])
    found = spread(groups)
    wide = found or 1.0
    before, after, *control = sides = [_side(group, wide) for group in groups]
    if why := _too_little(before, after):
        return Finding(keys, before, after, scatter=found, why=why)
    looks = _looks(swap, groups[1], before)
    return Finding(
        keys,
        before,
        after,
        (control[0], control[1]) if control else None,
        found,
        fall(before.count, after.count, wide),
        _against(sides) if control else None,
        looks=looks,
        rebound=_rebound(before, looks),
    )


def _spans(swap: Swap, stations: Sequence[Watched], now: datetime) -> tuple[Span, Span] | str:
    """Return the common stretches before and after, or why there are none."""
    if any(each.place is None for each in stations):
        return "nobody has said where it hangs, so its foraging hours are not known"
    afters = [lures.after(each.entries, swap.stations[each.key], now) for each in stations]
    told = [span for span in afters if span]
    if len(told) < len(stations):
        return "no fresh lure was hung out since the swap: an empty toxic bait proves nothing"
    befores = [lures.before(each.entries, swap.stations[each.key], BEFORE_MAX) for each in stations]
    return _common(befores), _common(told)


def _common(spans: Sequence[Span]) -> Span:
    return max(from_at for from_at, _ in spans), min(to_at for _, to_at in spans)


def _enough(groups: Iterable[Sequence[Seen]]) -> bool:
    return all(_side(group).watched_s >= WATCHED_MIN_S for group in groups)


def _side(group: Sequence[Seen], scatter: float = 1.0) -> Side:
    return Side(sum(each.visits for each in group), math.fsum(each.watched_s for each in group), scatter)


def _too_little(before: Side, after: Side) -> str | None:
    for when, side in (("before the swap", before), ("since the fresh lure after it", after)):
        if side.watched_s < WATCHED_MIN_S:
            return (
                f"only {side.watched_s / S_PER_H:.1f} h were watched {when}, in foraging hours, with fresh lure, at "
                f"hours of the day that were watched on both sides; at least {WATCHED_MIN_S / S_PER_H:g} h are needed"
            )
    return None


def _against(sides: Sequence[Side]) -> Fall:
    treated_before, treated_after, control_before, control_after = (side.count for side in sides)
    return fall_against_control((treated_before, treated_after), (control_before, control_after), sides[0].scatter)


def _looks(swap: Swap, seen: Sequence[Seen], before: Side) -> tuple[Look, ...]:
    bounds = [(0, LOOK_DAYS[0]), *zip(LOOK_DAYS, [*LOOK_DAYS[1:], None], strict=True)]
    found = [_look(first, last, swap.from_at, seen, before) for first, last in bounds]
    return tuple(look for look in found if look.side.watched_s)


def _look(first: int, last: int | None, swapped_at: datetime, seen: Sequence[Seen], before: Side) -> Look:
    within = [each for each in seen if first <= (each.at - swapped_at) / timedelta(days=1) < (last or math.inf)]
    side = _side(within, before.scatter)
    enough = side.watched_s >= WATCHED_MIN_S
    return Look(first, last, side, fall(before.count, side.count, before.scatter) if enough else None)


def _rebound(before: Side, looks: Sequence[Look]) -> Rebound | None:
    told = [look.side for look in looks if look.fall]
    if len(told) <= 1:
        return None
    quietest = min(told, key=lambda side: side.per_h or 0.0)
    return rebound(before.count, quietest.count, told[-1].count, before.scatter)
