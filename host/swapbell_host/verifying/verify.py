"""Before and after a swap compared, against the stations of the site that got no toxic bait.

Where too little was watched there is no number, and the reason is said.
"""

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from swapbell_host.jobs import lures
from swapbell_host.jobs.lures import Swap
from swapbell_host.verifying.finding import IDLE, MOVED, NOTHING, S_PER_H, UNPLACED, Finding, Look, Side
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
    left = {each.key[1]: why for each in controls if (why := _unfit(each, (spans[0][0], spans[1][1])))}
    fixed = [each for each in controls if each.key[1] not in left]
    told = [seen(group, span, now) for group in (stations, fixed) for span in spans]
    groups = alike(told)
    if not _enough(groups):
        groups, left = alike(told[:2]), left | {each.key[1]: IDLE for each in fixed}
    found = spread(groups)
    wide = found or 1.0
    before, after, *control = sides = [_side(group, wide) for group in groups]
    if why := _too_little(before, after):
        return Finding(keys, before, after, scatter=found, why=why)
    looks = _looks(swap, groups, sides)
    return Finding(
        keys,
        before,
        after,
        (control[0], control[1]) if control else None,
        found,
        fall(before.count, after.count, wide),
        _against(sides) if control else None,
        looks=looks,
        rebound=_rebound(sides, looks),
        left_out=tuple(left.items()),
    )


def _unfit(control: Watched, span: Span) -> str | None:
    """Return why a control station cannot be held against what was seen in a stretch; nothing if it can."""
    if lures.moved(control.entries, span):
        return MOVED
    return UNPLACED if control.place is None else None


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


def _looks(swap: Swap, groups: Sequence[Sequence[Seen]], sides: Sequence[Side]) -> tuple[Look, ...]:
    bounds = [(0, LOOK_DAYS[0]), *zip(LOOK_DAYS, [*LOOK_DAYS[1:], None], strict=True)]
    found = [_look(first, last, swap.from_at, groups, sides) for first, last in bounds]
    return tuple(look for look in found if look.side.watched_s)


def _look(
    first: int, last: int | None, swapped_at: datetime, groups: Sequence[Sequence[Seen]], sides: Sequence[Side]
) -> Look:
    """Return one look, given what was seen and its sides: before and after, and the same of the control stations."""
    before, wide = sides[0], sides[0].scatter
    side, *control = [_side(_within(group, swapped_at, first, last), wide) for group in groups[1::2]]
    fell = fall(before.count, side.count, wide) if side.watched_s >= WATCHED_MIN_S else None
    if fell is None or not control or control[0].watched_s < WATCHED_MIN_S:
        return Look(first, last, side, fell)
    return Look(first, last, side, fell, control[0], _against([before, side, sides[2], control[0]]))


def _within(group: Sequence[Seen], swapped_at: datetime, first: int, last: int | None) -> list[Seen]:
    """Return what was seen between two days after a swap."""
    return [each for each in group if first <= (each.at - swapped_at) / timedelta(days=1) < (last or math.inf)]


def _rebound(sides: Sequence[Side], looks: Sequence[Look]) -> Rebound | None:
    """Compare the last look with the quietest; against the control stations where each look has them."""
    told = [look for look in looks if look.fall]
    if len(told) <= 1:
        return None
    before, wide = sides[0].count, sides[0].scatter
    held = [(each.against.ratio or 0.0, each.side, each.control) for each in told if each.against and each.control]
    if len(held) < len(told) or any(each.against and each.against.ratio is None for each in told):
        quietest = min(told, key=lambda look: look.side.per_h or 0.0)
        return rebound(before, quietest.side.count, told[-1].side.count, wide)
    _, side, control = min(held, key=lambda each: each[0])
    _, last, last_control = held[-1]
    return rebound(before, side.count, last.count, wide, (sides[2].count, control.count, last_control.count))
