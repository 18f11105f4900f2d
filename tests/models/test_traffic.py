"""Counts and watched time in a stretch of time, however it was cut into tallies."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tallies import blind_between, edges, moment, tallies, tally

from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction, Hindrance, Sight, Tally
from swapbell_models.traffic import Window, joined, rate, read

HOUR_S = 3600.0
# Moments to the microsecond, as datetimes keep them.
moments_s = st.integers(0, int(HOUR_S * 1e6) - 1).map(lambda us: us / 1e6)
cuts_s = st.sets(st.integers(1, int(HOUR_S) - 1), max_size=30).map(
    lambda cut: [0.0, *sorted(map(float, cut)), HOUR_S]
)


def test_a_visit_is_a_wasp_sized_insect_coming_in() -> None:
    kinds = [(way, size) for way in Direction for size in SizeClass]
    crossings = tuple(Crossing(at_s=1.0, direction=way, size=size, length_mm=13.0) for way, size in kinds)
    busy = replace(tally(1, 0, 15, [], 15), crossings=crossings)
    assert read([busy]).window(moment(0), moment(15)).counted == 1


def test_a_window_holds_its_first_moment_and_not_its_last() -> None:
    told = read(tallies([0.0, 299.999999, 300.0], edges(600)))
    assert told.window(moment(0), moment(300)).counted == 2
    assert told.window(moment(300), moment(600)).counted == 1


def test_a_visit_rounded_onto_its_tallys_end_stays_with_its_tally() -> None:
    told = [tally(1, 0, 15, [15.004], 15.0)]
    assert read(told).moments == [moment(15) - timedelta.resolution]


def test_watched_seconds_of_a_straddling_tally_are_shared_pro_rata() -> None:
    told = [tally(1, 0, 100, [], 50.0), tally(2, 100, 200, [], 100.0)]
    assert read(told).window(moment(80), moment(120)).watched_s == pytest.approx(20 * 0.5 + 20)


def test_rounding_never_watches_more_than_there_was() -> None:
    assert read([tally(1, 0, 15, [], 15.01)]).window(moment(0), moment(15)).watched_s == 15.0


def test_what_no_tally_tells_of_was_not_watched() -> None:
    told = read(tallies([], [0, 15]))
    assert told.window(moment(-100), moment(200)).watched_s == 15.0
    assert read([]).window(moment(0), moment(300)).watched_s == 0.0


def hindered(seq: int, blind_s: float, hindrance: Hindrance | None) -> Tally:
    """Return the tally `seq` of 100 s each, in part of which the counter could not count."""
    told = tally(seq, 100.0 * (seq - 1), 100.0 * seq, [], 100.0 - blind_s)
    return replace(told, sight=Sight(blind_s=blind_s, hindrance=hindrance))


def test_a_window_tells_how_long_the_counter_could_not_count_and_why() -> None:
    told = read([hindered(1, 40.0, Hindrance.SHAKE), hindered(2, 60.0, Hindrance.LIGHT), hindered(3, 0.0, None)])
    seen = told.window(moment(50), moment(300))
    assert (seen.watched_s, seen.blind_s, seen.hindrance) == (pytest.approx(170.0), 80.0, Hindrance.LIGHT)
    assert seen.missed_s == pytest.approx(0.0)


def test_several_windows_keep_the_worst_hindrance() -> None:
    told = read([hindered(1, 40.0, Hindrance.SHAKE), hindered(2, 60.0, Hindrance.LIGHT), hindered(3, 0.0, None)])
    whole = joined(told.windows(moment(300), 100.0, 3))
    assert (whole.blind_s, whole.hindrance) == (100.0, Hindrance.LIGHT)


def test_a_counter_that_claims_more_blindness_than_it_missed_is_not_believed() -> None:
    told = replace(tally(1, 0, 100, [], 90.0), sight=Sight(blind_s=50.0, hindrance=Hindrance.NOISE))
    assert read([told]).window(moment(0), moment(100)).blind_s == pytest.approx(10.0)


def test_night_is_not_watched_whatever_the_counter_says() -> None:
    told = read(tallies([], edges(300)), [(moment(100), moment(220))])
    seen = told.window(moment(0), moment(300))
    assert (seen.watched_s, seen.dark_s, seen.missed_s) == (180.0, 120.0, 0.0)
    assert told.window(moment(120), moment(200)).visits is None


def test_a_visit_at_night_still_counts() -> None:
    told = read(tallies([110.0], edges(300)), [(moment(100), moment(220))])
    assert told.window(moment(105), moment(200)).visits == 1


def test_blindness_at_night_is_night() -> None:
    told = read([hindered(1, 100.0, Hindrance.LIGHT)], [(moment(-500), moment(70))])
    seen = told.window(moment(0), moment(100))
    assert (seen.dark_s, seen.blind_s) == (70.0, pytest.approx(30.0))


def test_night_without_tallies_is_night_and_no_gap() -> None:
    seen = read([], [(moment(0), moment(300))]).window(moment(0), moment(300))
    assert (seen.dark_s, seen.missed_s) == (300.0, 0.0)


@settings(deadline=None)
@given(st.lists(moments_s, max_size=20), cuts_s, st.lists(st.integers(0, 3600), min_size=4, max_size=4, unique=True))
def test_each_second_is_watched_or_dark_or_blind_or_missed(
    visits_s: list[float], cut_s: list[float], edges_s: list[int]
) -> None:
    one, two, three, four = sorted(map(moment, edges_s))
    told = read(tallies(visits_s, cut_s, blind_between(600, 1200)), [(one, two), (three, four)])
    hour = told.window(moment(0), moment(HOUR_S))
    assert hour.watched_s + hour.dark_s + hour.blind_s + hour.missed_s == pytest.approx(HOUR_S)
    assert hour.dark_s == pytest.approx(((two - one) + (four - three)).total_seconds())


def test_a_clock_set_back_does_not_hide_a_gap() -> None:
    told = [tally(1, 0, 200, [], 200.0), tally(2, 100, 200, [], 100.0)]
    assert read(told).window(moment(0), moment(300)).watched_s == 200.0


def test_no_data_is_not_zero() -> None:
    assert read([]).window(moment(0), moment(300)).visits is None
    assert read(tallies([], edges(300))).window(moment(0), moment(300)).visits == 0
    assert read(tallies([20.0], edges(300), blind_between(0, 300))).window(moment(0), moment(300)).visits == 1


def test_watching_for_a_moment_is_watching() -> None:
    assert Window(moment(0), moment(300), 0, 0.001).visits == 0
    assert rate(Window(moment(0), moment(300), 0, 0.001)) is not None


def test_consecutive_windows_share_no_visit_and_lose_none() -> None:
    told = read(tallies([0, 299, 300, 301, 899], edges(900)))
    counted = [part.counted for part in told.windows(moment(900), 300, 3)]
    assert counted == [2, 2, 1]


def test_joined_windows_are_one_window_over_all_of_them() -> None:
    told = read(tallies([10, 400, 401], edges(900), blind_between(100, 500)))
    assert joined(told.windows(moment(900), 300, 3)) == told.window(moment(0), moment(900))


def test_the_fullest_window_begins_wherever_it_must() -> None:
    told = read(tallies([200 + 20 * k for k in range(10)], edges(900)))
    best = told.fullest(told.window(moment(0), moment(900)), 300)
    assert best == Window(moment(200), moment(500), 10, 300.0)


def test_the_fullest_window_ends_where_the_telling_ends() -> None:
    told = read(tallies([890, 895], edges(900)))
    best = told.fullest(told.window(moment(0), moment(900)), 300)
    assert best is not None
    assert (best.from_at, best.to_at, best.counted) == (moment(600), moment(900), 2)


def test_without_visits_no_window_is_the_fullest() -> None:
    assert read([]).fullest(read([]).window(moment(0), moment(900)), 300) is None


def test_the_rule_is_reached_by_the_visit_that_fills_the_window() -> None:
    within = Window(moment(0), moment(900), 0, 0.0)
    told = read(tallies([100 + 30 * k for k in range(10)], edges(900)))
    assert told.reached_at(within, 10, 300.0) == moment(370)
    assert told.reached_at(within, 11, 300.0) is None
    slow = read(tallies([100 + 300 / 9 * k for k in range(10)], edges(900)))
    assert slow.reached_at(within, 10, 300.0) is None


def test_a_rate_stands_on_watched_time_alone() -> None:
    # 137 events in 24.19893 of effort: 5.661407 (4.753125-6.692709), the example of R's poisson.test (from memory).
    seen = rate(Window(moment(0), moment(60), 137, 24.19893), 1.0)
    assert seen is not None
    assert (seen.per_window, seen.low, seen.high) == pytest.approx((5.661407, 4.753125, 6.692709), abs=1e-6)


def test_the_trade_speaks_of_five_minutes() -> None:
    # Common practice, no source.
    seen = rate(Window(moment(0), moment(600), 20, 600.0))
    assert seen is not None
    assert seen.per_window == pytest.approx(10.0)


def test_where_nobody_watched_there_is_no_rate() -> None:
    assert rate(Window(moment(0), moment(300), 3, 0.0)) is None


@settings(deadline=None)
@given(st.lists(moments_s, max_size=60), cuts_s, cuts_s, st.integers(0, 3600), st.integers(0, 3600))
def test_how_the_time_was_cut_into_tallies_changes_nothing(
    visits_s: list[float], cut_s: list[float], other_cut_s: list[float], a_s: int, b_s: int
) -> None:
    from_at, to_at = moment(min(a_s, b_s)), moment(max(a_s, b_s))
    one, other = (read(tallies(visits_s, cut)).window(from_at, to_at) for cut in (cut_s, other_cut_s))
    assert one.counted == other.counted
    assert one.watched_s == pytest.approx(other.watched_s)


@settings(deadline=None)
@given(st.lists(moments_s, min_size=1, max_size=60), st.integers(2, 12))
def test_the_rule_is_reached_if_and_only_if_the_fullest_window_is_full_enough(
    visits_s: list[float], visits: int
) -> None:
    told = read(tallies(visits_s, edges(HOUR_S)))
    hour = told.window(moment(0), moment(HOUR_S))
    best = told.fullest(hour, 300.0)
    assert best is not None
    assert (told.reached_at(hour, visits, 300.0) is not None) == (best.counted >= visits)
