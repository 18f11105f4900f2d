"""What became of the traffic after a swap: only what was watched counts, and too little of it gives no number."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.lures import Swap, after, before, fresh, swaps
from swapbell_host.jobs.plan import located
from swapbell_host.verifying.finding import Finding
from swapbell_host.verifying.lit import Watched, scatter
from swapbell_host.verifying.verify import verify
from swapbell_models.proof.efficacy import Undefined
from swapbell_models.proof.fall import NOT_DEAD, Fall

# Invented: a site on the equator in the zone of Greenwich, whose foraging hours are about 05:50 to 18:20 UTC.
PLACE = located(0.0, 0.0)
DAY, STEP = timedelta(days=1), timedelta(minutes=5)
SWAPPED_AT = datetime(2026, 1, 13, 20, 0, tzinfo=UTC)
NOW = SWAPPED_AT + 10 * DAY
LURE = 3 * DAY

Acts = Sequence[tuple[Act, float]]
SERVED: Acts = [(Act.LURED, -2.0), (Act.SWAPPED, 0.0), (Act.WITHDRAWN, 3.0), (Act.RELURED, 4.0)]
UNTREATED: Acts = [(Act.LURED, -2.0), (Act.REFRESHED, 4.0)]


@dataclass(frozen=True)
class Told:
    from_at: datetime
    visits: int
    watched_s: float


def log(acts: Acts, name: str = "north") -> list[Entry]:
    return [
        Entry(site="hill", station=name, act=act, at=at, by="Kim", id=n, logged_at=at)
        for n, (act, days) in enumerate(acts, 1)
        for at in [SWAPPED_AT + days * DAY]
    ]


def looked(day: float, hours: int, visits: int, from_hour: int = 8) -> list[Told]:
    """Return hours fully watched, so many days after the swap, with visits evenly spread over them."""
    start, steps = (SWAPPED_AT + day * DAY).replace(hour=from_hour, minute=0), 12 * hours
    counts = [(n + 1) * visits // steps - n * visits // steps for n in range(steps)]
    return [Told(start + n * STEP, each, 300.0) for n, each in enumerate(counts)]


def watched(counts: list[Told], acts: Acts = SERVED, name: str = "north", **more: Any) -> Watched:
    fields: dict[str, Any] = {"place": PLACE, "entries": log(acts, name), "counts": counts, "lure": LURE}
    return Watched(("hill", name), **(fields | more))


def found(counts: list[Told], *controls: Watched, **more: Any) -> Finding:
    station = watched(counts, **more)
    _, (each,) = verify(Swap({station.key: SWAPPED_AT}), [station], controls, NOW)
    return each


def limits(fall: Fall | None) -> tuple[float, float]:
    assert fall is not None
    assert fall.low is not None
    assert fall.high is not None
    return fall.low, fall.high


def ratio(fall: Fall | None) -> float:
    assert fall is not None
    assert fall.ratio is not None
    return fall.ratio


@pytest.mark.parametrize(
    ("visits_before", "hours", "visits_after", "expected", "low", "high"),
    [
        # Clopper and Pearson 1934 by SciPy's beta quantiles, over the odds; minutes there are hours here.
        (120, 5, 6, 0.05, 0.017991, 0.112057),
        (100, 5, 3, 0.03, 0.006084, 0.090233),
        (50, 2, 0, 0.0, 0.0, 0.076567),
        (20, 2, 1, 0.05, 0.001206, 0.312611),
        (10, 2, 0, 0.0, 0.0, 0.446126),
    ],
)
def test_a_fall_has_its_exact_limits(
    visits_before: int, hours: int, visits_after: int, expected: float, low: float, high: float
) -> None:
    fall = found(looked(-1, hours, visits_before) + looked(5, hours, visits_after)).fall
    assert ratio(fall) == pytest.approx(expected)
    assert limits(fall) == pytest.approx((low, high), abs=1e-6)


def test_watched_time_is_what_visits_are_held_against() -> None:
    # 5 in half the time of 40: 0.25, 0.077009-0.633436 (Clopper and Pearson 1934, as above).
    fall = found(looked(-1, 2, 20) + looked(0, 2, 20) + looked(5, 2, 5)).fall
    assert ratio(fall) == pytest.approx(0.25)
    assert limits(fall) == pytest.approx((0.077009, 0.633436), abs=1e-6)


@pytest.mark.parametrize(
    ("treated", "control", "expected"),
    [
        # Henderson and Tilton 1955: 1 - (Ta Cb)/(Tb Ca), by plain arithmetic.
        ((300, 60), (200, 400), 0.90),
        ((120, 6), (110, 99), 0.944444),
        ((100, 10), (100, 100), 0.90),
        ((200, 10), (80, 20), 0.80),
        ((80, 0), (75, 70), 1.0),
        ((50, 40), (60, 30), -0.60),
    ],
)
def test_against_a_control_the_fall_is_that_of_henderson_and_tilton(
    treated: tuple[int, int], control: tuple[int, int], expected: float
) -> None:
    untreated = watched(looked(-1, 5, control[0]) + looked(5, 5, control[1]), UNTREATED, "far")
    against = found(looked(-1, 5, treated[0]) + looked(5, 5, treated[1]), untreated).against
    assert 1.0 - ratio(against) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("treated", "control", "why"),
    [
        ((0, 5), (50, 50), Undefined.TREATED_BEFORE),
        ((50, 5), (0, 50), Undefined.CONTROL_BEFORE),
        ((50, 5), (50, 0), Undefined.CONTROL_AFTER),
    ],
)
def test_a_fall_from_nothing_is_not_computed(
    treated: tuple[int, int], control: tuple[int, int], why: Undefined
) -> None:
    untreated = watched(looked(-1, 5, control[0]) + looked(5, 5, control[1]), UNTREATED, "far")
    against = found(looked(-1, 5, treated[0]) + looked(5, 5, treated[1]), untreated).against
    assert against is not None
    assert (against.ratio, against.undefined) == (None, why)


def test_a_fall_ends_with_quiet_is_not_dead() -> None:
    fall = found(looked(-1, 5, 120) + looked(5, 5, 6)).fall
    assert fall is not None
    assert fall.words.endswith(NOT_DEAD)


def test_without_a_control_there_is_no_fall_against_one() -> None:
    assert found(looked(-1, 5, 120) + looked(5, 5, 6)).controls is None


@pytest.mark.parametrize(("day", "is_held_against"), [(-3.0, True), (-1.5, False), (4.5, False)])
def test_a_control_that_was_moved_in_that_time_is_none(day: float, is_held_against: bool) -> None:
    acts = sorted([*UNTREATED, (Act.MOVED, day)], key=lambda each: each[1])
    untreated = watched(looked(-1, 5, 50) + looked(5, 5, 200), acts, "far")
    one = found(looked(-1, 5, 50) + looked(5, 5, 50), untreated)
    assert one.fall is not None
    assert (one.against is not None) is is_held_against
    assert one.left == ("" if is_held_against else "far was moved in that time")


@pytest.mark.parametrize(
    ("counts", "more", "why"),
    [
        (looked(-1, 5, 50) + looked(5, 5, 50), {"place": None}, "has no position"),
        (looked(-1, 5, 50), {}, "was watched too little with fresh lure at the same hours"),
    ],
)
def test_a_control_that_cannot_be_held_against_is_named_with_why(
    counts: list[Told], more: dict[str, Any], why: str
) -> None:
    untreated = watched(counts, UNTREATED, "far", **more)
    one = found(looked(-1, 5, 50) + looked(5, 5, 5), untreated)
    assert one.caution == (
        f"No control station can be held against it (far {why}): rain, cold and autumn look like success."
    )


def test_of_several_controls_those_that_can_be_are_held_against() -> None:
    seen = looked(-1, 5, 50) + looked(5, 5, 50)
    moved = watched(seen, [(Act.LURED, -2.0), (Act.REFRESHED, 4.0), (Act.MOVED, 4.5)], "east")
    one = found(looked(-1, 5, 50) + looked(5, 5, 5), watched(seen, UNTREATED, "far"), moved)
    assert ratio(one.against) == pytest.approx(0.1)
    assert (one.left, one.caution) == ("east was moved in that time", "")


def test_a_control_that_was_not_watched_at_those_hours_is_none() -> None:
    idle = watched(looked(-1, 2, 50, from_hour=15) + looked(5, 2, 50, from_hour=15), UNTREATED, "far")
    each = found(looked(-1, 5, 120) + looked(5, 5, 6), idle)
    assert (each.controls, each.against) == (None, None)
    assert ratio(each.fall) == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        ([], "only 0.0 h were watched before the swap"),
        (looked(5, 5, 6), "only 0.0 h were watched before the swap"),
        (looked(-1, 5, 120), "only 0.0 h were watched before the swap"),
        (looked(-1, 5, 120) + looked(5, 5, 6)[:11], "only 0.9 h were watched since the fresh lure after it"),
        (looked(-1, 2, 50, from_hour=8) + looked(5, 2, 6, from_hour=15), "only 0.0 h were watched before the swap"),
    ],
    ids=["nothing", "not before", "not after", "a short look", "at other hours"],
)
def test_too_little_watching_gives_no_number_but_a_reason(counts: list[Told], told: str) -> None:
    each = found(counts)
    assert each.fall is None
    assert each.why is not None
    assert each.why.startswith(told)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"place": None}, "nobody has said where it hangs"),
        ({"acts": SERVED[:3]}, "no fresh lure was hung out since the swap"),
    ],
)
def test_what_nobody_said_gives_no_number_but_a_reason(more: dict[str, Any], told: str) -> None:
    each = found(looked(-1, 5, 120) + looked(5, 5, 6), **more)
    assert each.fall is None
    assert each.why is not None
    assert each.why.startswith(told)


NOT_COUNTED: dict[str, list[Told]] = {
    "at night": looked(5, 3, 300, from_hour=0),
    "long before the swap": looked(-3, 5, 300),
    "while toxic bait hung": looked(1, 5, 300),
    "with a stale lure": looked(8, 5, 300),
    "not watched": [Told(each.from_at, 0, 0.0) for each in looked(6, 5, 0)],
}


@pytest.mark.parametrize("more", NOT_COUNTED.values(), ids=[*NOT_COUNTED])
def test_what_was_seen_otherwise_does_not_count(more: list[Told]) -> None:
    whole = looked(-1, 13, 120, from_hour=6) + looked(5, 13, 6, from_hour=6)
    night = looked(-1, 3, 50, from_hour=0)  # so that the hour of the day alone would not rule it out
    plain, other = found(whole), found(whole + night + more)
    assert (plain.before, plain.after, plain.fall) == (other.before, other.after, other.fall)


def test_a_move_begins_the_time_before_anew() -> None:
    acts: Acts = [(Act.LURED, -2.0), (Act.MOVED, -0.5), *SERVED[1:]]
    each = found(looked(-1, 5, 300) + looked(0, 5, 50) + looked(5, 5, 6), acts=acts)
    assert each.before.visits == 50


def test_the_next_swap_ends_the_time_after() -> None:
    acts: Acts = [*SERVED, (Act.SWAPPED, 5.2), (Act.WITHDRAWN, 5.8), (Act.RELURED, 6.2)]
    each = found(looked(-1, 5, 120) + looked(5, 5, 6) + looked(7, 5, 300), acts=acts)
    assert each.after.visits == 6


def test_bouts_widen_the_limits() -> None:
    even = looked(-1, 8, 160) + looked(5, 8, 16)
    lumpy = [replaced for n in range(8) for replaced in looked(-1, 1, 40 * (n % 2), 8 + n)] + looked(5, 8, 16)
    narrow, wide = found(even), found(lumpy)
    assert ratio(narrow.fall) == ratio(wide.fall)
    assert wide.scatter is not None
    assert wide.scatter > 5.0
    assert limits(wide.fall)[1] > limits(narrow.fall)[1]


@pytest.mark.parametrize(("size", "low", "high"), [(None, 0.85, 1.15), (20.0, 2.6, 3.4)])
def test_the_scatter_is_the_variance_over_the_mean(size: float | None, low: float, high: float) -> None:
    # Seeded: Poisson of mean 40 an hour, and the negative binomial of size 20, whose variance is 3 times its mean.
    rng = np.random.default_rng(5)
    shape = (60, 12)
    drawn = rng.poisson(40.0, shape) if size is None else rng.negative_binomial(size, 1 / 3, shape)
    found = scatter([[(int(visits), 3600.0) for visits in day] for day in drawn])
    assert found is not None
    assert low < found < high


def test_traffic_that_grows_from_day_to_day_is_no_scatter() -> None:
    assert scatter([[(20 * day, 3600.0)] * 10 for day in range(1, 5)]) == 1.0


def test_few_hours_tell_no_scatter() -> None:
    assert scatter([[(3, 3600.0), (9, 3600.0)], [(0, 3600.0)] * 12]) is None


def test_the_looks_after_a_swap_show_that_wasps_come_back() -> None:
    acts: Acts = [*SERVED, (Act.REFRESHED, 6.5)]
    each = found(looked(-1, 5, 120) + looked(5, 5, 3) + looked(8, 5, 60), acts=acts)
    assert [(look.from_day, look.to_day, look.side.visits) for look in each.looks] == [(4, 7, 3), (7, 14, 60)]
    assert each.rebound is not None
    assert each.rebound.is_returning
    assert ratio(each.looks[1].fall) == pytest.approx(0.5)


def test_each_look_is_held_against_the_control_stations() -> None:
    acts: Acts = [*SERVED, (Act.REFRESHED, 6.5)]
    untreated = watched(
        looked(-1, 5, 100) + looked(5, 5, 10) + looked(8, 5, 90), [*UNTREATED, (Act.REFRESHED, 7.5)], "far"
    )
    each = found(looked(-1, 5, 120) + looked(5, 5, 6) + looked(8, 5, 60), untreated, acts=acts)
    # Henderson and Tilton 1955: (Ta Cb)/(Tb Ca), by plain arithmetic.
    assert [ratio(look.against) for look in each.looks] == pytest.approx(
        [6 * 100 / (120 * 10), 60 * 100 / (120 * 90)]
    )
    assert [look.control.visits for look in each.looks if look.control] == [10, 90]
    assert each.rebound is not None
    assert each.rebound.controlled
    assert not each.rebound.is_returning, "the weather brought wasps to the control station as well"


def test_a_return_is_held_against_controls_only_where_each_look_has_them() -> None:
    acts: Acts = [*SERVED, (Act.REFRESHED, 6.5)]
    untreated = watched(looked(-1, 5, 100) + looked(5, 5, 10), UNTREATED, "far")
    each = found(looked(-1, 5, 120) + looked(5, 5, 6) + looked(8, 5, 60), untreated, acts=acts)
    assert [look.against is not None for look in each.looks] == [True, False]
    assert each.rebound is not None
    assert (each.rebound.controlled, each.rebound.is_returning) == (False, True)


def test_one_look_tells_nothing_of_a_return() -> None:
    assert found(looked(-1, 5, 120) + looked(5, 5, 3)).rebound is None


def test_stations_swapped_together_are_judged_together() -> None:
    one = watched(looked(-1, 5, 120) + looked(5, 5, 6))
    other = watched(looked(-1, 5, 80) + looked(5, 5, 14), SERVED, "south")
    blind = watched([], SERVED, "east")
    swap = Swap(dict.fromkeys([one.key, other.key, blind.key], SWAPPED_AT))
    together, each = verify(swap, [one, other, blind], [], NOW)
    assert together is not None
    assert together.stations == (one.key, other.key)
    assert ratio(together.fall) == pytest.approx(20 / 200)
    assert [bool(found.fall) for found in each] == [True, True, False]


def test_one_station_alone_is_not_told_twice() -> None:
    station = watched(looked(-1, 5, 120) + looked(5, 5, 6))
    assert verify(Swap({station.key: SWAPPED_AT}), [station], [], NOW)[0] is None


def test_a_rate_is_told_per_watched_hour_with_its_limits() -> None:
    side = found(looked(-1, 5, 10) + looked(5, 5, 0)).before
    assert side.per_h == pytest.approx(2.0)
    # Garwood 1936: 4.795-18.390 for 10.
    assert side.limits_per_h == pytest.approx((4.795 / 5, 18.390 / 5), abs=1e-3)


def test_what_nobody_watched_has_no_rate() -> None:
    side = found([]).after
    assert (side.per_h, side.limits_per_h) == (None, None)


def test_a_sites_swaps_are_told_apart_by_time() -> None:
    logs = {
        ("hill", "north"): log([(Act.LURED, -2), (Act.SWAPPED, 0), (Act.SWAPPED, 9)]),
        ("hill", "south"): log([(Act.SWAPPED, 1)], "south"),
        ("hill", "far"): log([(Act.LURED, -2)], "far"),
    }
    assert [[key[1] for key in swap.stations] for swap in swaps(logs)] == [["north", "south"], ["north"]]
    assert swaps(logs)[0].from_at == SWAPPED_AT


def test_a_lure_is_fresh_until_its_time_is_over_or_another_comes() -> None:
    acts: Acts = [(Act.LURED, 0), (Act.SEEN, 0.5), (Act.REFRESHED, 1), (Act.SWAPPED, 6), (Act.RELURED, 10)]
    spans = [[(at - SWAPPED_AT) / DAY for at in span] for span in fresh(log(acts), LURE, SWAPPED_AT + 11 * DAY)]
    assert spans == [[0.0, 1.0], [1.0, 4.0], [10.0, 11.0]]


def test_before_a_swap_reaches_back_to_the_last_move() -> None:
    entries = log([(Act.LURED, -3), (Act.MOVED, -1), (Act.SWAPPED, 0)])
    assert before(entries, SWAPPED_AT, 2 * DAY) == (SWAPPED_AT - DAY, SWAPPED_AT)
    assert before(entries[:1], SWAPPED_AT, 2 * DAY) == (SWAPPED_AT - 2 * DAY, SWAPPED_AT)


def test_after_a_swap_begins_with_the_fresh_lure() -> None:
    assert after(log(SERVED), SWAPPED_AT, NOW) == (SWAPPED_AT + 4 * DAY, NOW)
    assert after(log(SERVED[:3]), SWAPPED_AT, NOW) is None


def test_a_station_swapped_again_soon_begins_another_swap() -> None:
    logs = {("hill", "north"): log([(Act.SWAPPED, 0), (Act.SWAPPED, 1.5)])}
    assert [list(swap.stations.values()) for swap in swaps(logs)] == [[SWAPPED_AT], [SWAPPED_AT + 1.5 * DAY]]


def test_a_stretch_across_the_swap_belongs_to_neither_side() -> None:
    early = 10.0 / 24 + 2.0 / 1440  # SWAPPED_AT is 20:00, so this is two minutes past six in the morning
    acts: Acts = [(Act.LURED, -2.0), (Act.SWAPPED, early), (Act.WITHDRAWN, 3.0), (Act.RELURED, 4.0)]
    station = watched(looked(0, 3, 36) + looked(0.5, 1, 120, from_hour=6) + looked(5, 6, 6, from_hour=6), acts)
    _, (found,) = verify(Swap({station.key: SWAPPED_AT + early * DAY}), [station], [], NOW)
    assert found.before.visits == 36


def test_hours_say_what_their_five_minutes_say() -> None:
    fine = watched(looked(-1, 5, 120) + looked(5, 5, 6))
    hours = [
        Told(first.from_at, sum(each.visits for each in fine.counts[n : n + 12]), 3600.0)
        for n, first in list(enumerate(fine.counts))[::12]
    ]
    _, (one,) = verify(Swap({fine.key: SWAPPED_AT}), [fine], [], NOW)
    _, (other,) = verify(Swap({fine.key: SWAPPED_AT}), [watched(hours, step=timedelta(hours=1))], [], NOW)
    assert (one.before, one.after, one.fall) == (other.before, other.after, other.fall)
