"""The steps of the verdict, what they can and cannot depend on, and how often chance alone takes them."""

import math
from collections.abc import Callable, Sequence
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.typing import NDArray
from tallies import blind_between, edges, moment, tallies

from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.chance import lucky_window
from swapbell_models.confirmation import Confirm
from swapbell_models.readiness import AHEAD_MAX_S, Reason, Rule, Step, Verdict, assess
from swapbell_models.tally import Hindrance, Sight, Tally

RULE = Rule()
FIRST = Rule(confirm=Confirm.FIRST)
SEQUENTIAL = Rule(confirm=Confirm.SEQUENTIAL)
LOOK_S = 900.0
ORDER = list(Step)


def visits_in(window: int, number: int) -> list[float]:
    """Return moments of `number` visits spread over the look's window 0, 1 or 2."""
    return [300.0 * window + 300.0 * (k + 0.5) / number for k in range(number)]


def verdict(visits_s: Sequence[float], rule: Rule = RULE, until_s: float = LOOK_S) -> Verdict:
    """Return the verdict on a look that was watched all the time."""
    return assess(tallies(visits_s, edges(until_s)), moment(until_s), rule)


def counts(*numbers: int) -> list[float]:
    """Return visits that make these counts in the look's three windows."""
    return [at_s for window, number in enumerate(numbers) for at_s in visits_in(window, number)]


def test_few_visits_are_quiet() -> None:
    assert verdict(counts(0, 1, 4)).step is Step.QUIET


def test_half_the_rule_in_the_last_window_is_building() -> None:
    assert verdict(counts(0, 1, 5)).step is Step.BUILDING
    assert verdict(counts(0, 5, 1)).step is Step.QUIET


def test_ten_visits_in_any_five_minutes_touch_the_rule() -> None:
    across = [200 + 20 * k for k in range(10)]
    assert verdict(across).step is Step.TOUCHED
    assert verdict(across[:9]).step is not Step.TOUCHED


def test_a_touch_counts_for_a_quarter_of_an_hour() -> None:
    burst = [10.0 + k for k in range(10)]
    assert verdict(burst, until_s=900).step is Step.TOUCHED
    assert verdict(burst, until_s=915).step is Step.QUIET


def test_two_of_three_windows_confirm() -> None:
    assert verdict(counts(10, 0, 10)).step is Step.READY
    assert verdict(counts(10, 10, 0)).step is Step.READY
    assert verdict(counts(0, 10, 10)).step is Step.READY
    assert verdict(counts(9, 30, 9)).step is Step.TOUCHED


def test_two_windows_suffice_where_the_third_was_never_told_of() -> None:
    assert verdict(counts(10, 10), until_s=600).step is Step.READY


def test_the_bare_rule_needs_no_confirmation() -> None:
    assert verdict(counts(0, 0, 10), FIRST).step is Step.READY


def test_the_sequential_test_adds_up_the_last_windows() -> None:
    # Wald (1947), means 8 and 12 at 5 % either way: 18 in one window, 27 in two, 37 in three.
    for enough in (counts(0, 0, 18), counts(0, 14, 13), counts(13, 12, 12)):
        assert verdict(enough, SEQUENTIAL).step is Step.READY
        assert verdict(enough[1:], SEQUENTIAL).step is Step.TOUCHED


def test_a_gap_makes_few_visits_unjudged() -> None:
    seen = assess(tallies(counts(0, 0, 9), edges(LOOK_S), blind_between(700, 731)), moment(LOOK_S), RULE)
    assert (seen.step, seen.reason) == (Step.UNJUDGED, Reason.GAPS)


def test_half_a_minute_unwatched_is_forgiven() -> None:
    told = tallies(counts(0, 0, 1), edges(LOOK_S), blind_between(700, 730))
    assert assess(told, moment(LOOK_S), RULE).step is Step.QUIET


def test_a_missing_tally_is_a_gap() -> None:
    told = [tally for tally in tallies([], edges(LOOK_S)) if not 700 <= tally.up_s < 745]
    assert assess(told, moment(LOOK_S), RULE).reason is Reason.GAPS


def test_ten_visits_between_gaps_still_count() -> None:
    told = tallies(counts(0, 10, 10), edges(LOOK_S), blind_between(0, 880))
    assert assess(told, moment(LOOK_S), RULE).step is Step.READY


def test_a_blind_station_proves_nothing_by_few_visits() -> None:
    told = tallies(counts(0, 0, 3), edges(LOOK_S))
    seen = assess(told, moment(LOOK_S), RULE, blind=True)
    assert (seen.step, seen.reason) == (Step.UNJUDGED, Reason.BLIND)
    assert assess(tallies(counts(0, 0, 10), edges(LOOK_S)), moment(LOOK_S), RULE, blind=True).step is Step.TOUCHED


# At the tests' hour, 1 o'clock UTC in February, it is noon in the one and deep night in the other.
NOON = Place(-43.5321, 172.6362, Hemisphere.SOUTH)
NIGHT = Place(51.4779, 0.0, Hemisphere.NORTH)


def hindered(blind_s: float, hindrance: Hindrance = Hindrance.SHAKE) -> list[Tally]:
    """Return a look of which the counter could not count `blind_s` in each tally of the last window."""
    sight = Sight(blind_s=blind_s, hindrance=hindrance)
    told = tallies(counts(0, 0, 9), edges(LOOK_S))
    return [*told[:40], *(replace(each, watched_s=15.0 - blind_s, sight=sight) for each in told[40:])]


def test_a_counter_that_cannot_count_makes_few_visits_unjudged_and_says_why() -> None:
    seen = assess(hindered(3.0, Hindrance.MOVING), moment(LOOK_S), RULE)
    assert (seen.step, seen.reason) == (Step.UNJUDGED, Reason.BLIND)
    assert seen.last
    assert seen.last.hindrance is Hindrance.MOVING


def test_what_hinders_is_told_where_it_is_the_reason_and_only_there() -> None:
    assert assess(hindered(3.0, Hindrance.MOVING), moment(LOOK_S), RULE).hindrance is Hindrance.MOVING
    assert assess(hindered(1.0, Hindrance.MOVING), moment(LOOK_S), RULE).hindrance is None


def test_a_counter_is_blind_for_long_once_each_window_of_the_look_is() -> None:
    sight = Sight(blind_s=10.0, hindrance=Hindrance.SHAKE)
    always = [replace(each, watched_s=5.0, sight=sight) for each in tallies([], edges(LOOK_S))]
    assert assess(always, moment(LOOK_S), RULE).long_blind
    assert not assess(hindered(10.0), moment(LOOK_S), RULE).long_blind
    assert not assess(tallies([], edges(LOOK_S)), moment(LOOK_S), RULE, blind=True).long_blind


def test_a_counter_that_hardly_ever_cannot_count_proves_what_it_counts() -> None:
    assert assess(hindered(1.0), moment(LOOK_S), RULE).step is Step.BUILDING


def test_ten_visits_count_though_the_counter_could_not_always_count() -> None:
    told = hindered(10.0)
    busy = replace(told[-1], crossings=tallies([0.5], [0, 15])[0].crossings * 2)
    assert assess([*told[:-1], busy], moment(LOOK_S), RULE).step is Step.TOUCHED


def test_what_hid_more_is_the_reason() -> None:
    told = [each for each in hindered(3.0) if each.up_s < 645.0 or each.up_s >= 690.0]
    assert assess(told, moment(LOOK_S), RULE).reason is Reason.BLIND
    told = [each for each in hindered(3.0) if each.up_s < 645.0 or each.up_s >= 735.0]
    assert assess(told, moment(LOOK_S), RULE).reason is Reason.GAPS


def test_at_night_few_visits_prove_nothing() -> None:
    told, now = tallies(counts(0, 0, 9), edges(LOOK_S)), moment(LOOK_S)
    seen = assess(told, now, Rule(place=NIGHT))
    assert (seen.step, seen.reason) == (Step.UNJUDGED, Reason.DARK)
    assert seen.rate is None
    assert assess(told, now, Rule(place=NOON)).step is Step.BUILDING


def test_at_night_nobody_knows_of_no_visits() -> None:
    seen = assess(tallies([], edges(LOOK_S)), moment(LOOK_S), Rule(place=NIGHT))
    assert seen.last
    assert seen.last.visits is None


def test_ten_visits_count_at_night_too() -> None:
    assert assess(tallies(counts(0, 10, 10), edges(LOOK_S)), moment(LOOK_S), Rule(place=NIGHT)).step is Step.READY


def test_a_camera_that_sees_nothing_at_night_is_no_news() -> None:
    told = tallies([], edges(LOOK_S), blind_between(0, LOOK_S))
    assert assess(told, moment(LOOK_S), Rule(place=NIGHT), blind=True).reason is Reason.DARK


def test_a_station_that_is_silent_at_night_is_silent() -> None:
    assert assess(tallies([], edges(15)), moment(LOOK_S), Rule(place=NIGHT)).reason is Reason.SILENT


def test_dusk_is_judged_until_a_tenth_of_the_window_is_night() -> None:
    noon_at = moment(0)
    dusk_at = next(iter(nights(NOON, noon_at, noon_at + timedelta(days=1))))[0]

    def reason(after_s: float) -> Reason | None:
        cut = edges(LOOK_S)
        shift = dusk_at + timedelta(seconds=after_s) - moment(LOOK_S)
        told = [replace(each, from_at=each.from_at + shift) for each in tallies([], cut)]
        return assess(told, moment(LOOK_S) + shift, Rule(place=NOON)).reason

    assert reason(29.0) is None
    assert reason(31.0) is Reason.DARK


def test_the_tally_in_progress_is_no_gap() -> None:
    told = tallies(counts(0, 0, 6), edges(LOOK_S))
    assert assess(told, moment(LOOK_S + 120), RULE) == assess(told, moment(LOOK_S), RULE)


def test_a_station_that_stopped_telling_is_silent() -> None:
    told = tallies(counts(10, 10, 10), edges(LOOK_S))
    assert assess(told, moment(LOOK_S + 600), RULE).step is Step.READY
    late = assess(told, moment(LOOK_S + 600.001), RULE)
    assert (late.step, late.reason) == (Step.UNJUDGED, Reason.SILENT)
    assert late.windows == assess(told, moment(LOOK_S), RULE).windows


def test_a_station_that_never_told_anything_is_silent() -> None:
    assert assess([], moment(0), RULE) == Verdict(Step.UNJUDGED, Reason.SILENT)


def test_what_claims_to_come_from_the_future_is_not_believed() -> None:
    told = tallies(counts(0, 10, 10), edges(LOOK_S))
    assert assess(told, moment(LOOK_S - 61), RULE).last != assess(told, moment(LOOK_S), RULE).last
    assert assess(told, moment(LOOK_S - 60), RULE) == assess(told, moment(LOOK_S), RULE)


def test_the_verdict_carries_its_evidence() -> None:
    seen = verdict(counts(3, 12, 11))
    assert [window.counted for window in seen.windows] == [3, 12, 11]
    assert seen.last is seen.windows[2]
    assert [window.watched_s for window in seen.windows] == [300.0] * 3
    assert seen.fullest is not None
    assert seen.fullest.counted == 12
    assert seen.rate is not None
    # Garwood (1936): 26 events have the exact limits 16.984063 and 38.096024.
    assert (seen.rate.low * 3, seen.rate.high * 3) == pytest.approx((16.984063, 38.096024), abs=1e-5)
    assert seen.lucky == lucky_window(12, 5.0, 3)


def test_below_the_rule_there_is_no_luck_to_tell_of() -> None:
    assert (verdict(counts(0, 0, 9)).lucky, verdict(counts(0, 0, 9)).reached_at) == (None, None)


@pytest.mark.parametrize(
    ("rule", "named"),
    [
        (lambda: Rule(visits=1), "visits"),
        (lambda: Rule(visits=math.inf), "visits"),
        (lambda: Rule(window_s=0.0), "window_s"),
        (lambda: Rule(silent_s=math.inf), "silent_s"),
    ],
)
def test_a_rule_that_cannot_be_judged_by_is_refused(rule: Callable[[], Rule], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} must be "):
        rule()


def test_a_rule_may_ask_for_little() -> None:
    little = Rule(visits=2, window_s=0.01, silent_s=0.01)
    assert verdict([899.985, 899.992], little).step is Step.TOUCHED


lots_of_visits = st.lists(st.integers(0, 1199).map(float), max_size=70)
rules = st.sampled_from([RULE, FIRST, SEQUENTIAL])
gaps = st.tuples(st.integers(0, 1200), st.integers(0, 1200)).map(sorted)


@settings(deadline=None)
@given(lots_of_visits, lots_of_visits, gaps, rules)
def test_more_visits_never_lower_the_step(
    visits_s: list[float], more_s: list[float], gap: list[int], rule: Rule
) -> None:
    fewer, more = (
        assess(tallies(seen, edges(1200), blind_between(*gap)), moment(1200), rule)
        for seen in (visits_s, visits_s + more_s)
    )
    assert ORDER.index(fewer.step) <= ORDER.index(more.step)


@settings(deadline=None)
@given(lots_of_visits, gaps, rules)
def test_less_watched_time_never_raises_the_step_nor_undoes_a_full_window(
    visits_s: list[float], gap: list[int], rule: Rule
) -> None:
    whole, gappy = (
        assess(tallies(visits_s, edges(1200), blind_between(*unseen)), moment(1200), rule) for unseen in ((0, 0), gap)
    )
    assert ORDER.index(gappy.step) <= ORDER.index(whole.step)
    assert (gappy.fullest is None) == (whole.fullest is None)
    if whole.step in {Step.TOUCHED, Step.READY}:
        assert gappy.step is whole.step


@settings(deadline=None)
@given(lots_of_visits, gaps, rules)
def test_dropping_a_tally_never_raises_the_step(visits_s: list[float], gap: list[int], rule: Rule) -> None:
    whole = tallies(visits_s, edges(1200))
    fewer = [tally for tally in whole if not gap[0] <= tally.up_s < min(gap[1], 1185)]
    steps = [ORDER.index(assess(told, moment(1200), rule).step) for told in (fewer, whole)]
    assert steps == sorted(steps)


@settings(deadline=None)
@given(lots_of_visits, st.sets(st.integers(1, 1199), max_size=40), rules)
def test_how_the_time_was_cut_into_tallies_does_not_change_the_step(
    visits_s: list[float], cut: set[int], rule: Rule
) -> None:
    cut_s = [0.0, *sorted(map(float, cut)), 1200.0]
    one, other = (assess(tallies(visits_s, edges_s), moment(1200), rule) for edges_s in (edges(1200), cut_s))
    assert (one.step, one.reached_at) == (other.step, other.reached_at)


# Chance that a steady mean is called ready within the first watched hour, with a verdict each 15 s: our simulation of
# 20,000 hours, by other code than the one under test. The bare rule's are Naus's (1982), see test_chance.
CALLED_READY = {
    3: {Confirm.FIRST: 0.062, Confirm.TWO_OF_THREE: 0.000, Confirm.SEQUENTIAL: 0.000},
    5: {Confirm.FIRST: 0.701, Confirm.TWO_OF_THREE: 0.087, Confirm.SEQUENTIAL: 0.001},
    6: {Confirm.FIRST: 0.935, Confirm.TWO_OF_THREE: 0.361, Confirm.SEQUENTIAL: 0.009},
    8: {Confirm.FIRST: 1.000, Confirm.TWO_OF_THREE: 0.941, Confirm.SEQUENTIAL: 0.209},
    10: {Confirm.FIRST: 1.000, Confirm.TWO_OF_THREE: 1.000, Confirm.SEQUENTIAL: 0.800},
    12: {Confirm.FIRST: 1.000, Confirm.TWO_OF_THREE: 1.000, Confirm.SEQUENTIAL: 0.992},
}
RUNS = 4000
# Each drawn hour has 240 tallies of 15 s, 20 to a window.
TALLIES, PER_WINDOW = 240, 20


def drawn_hours(mean: float, runs: int) -> NDArray[np.int64]:
    """Return the visits in each tally of `runs` hours of steady traffic, as (runs, tallies)."""
    return np.random.default_rng(round(1000 * mean)).poisson(mean / PER_WINDOW, (runs, TALLIES))


def called_ready(visits: NDArray[np.int64], confirm: Confirm) -> NDArray[np.bool_]:
    """Return, for each hour and tally, whether plain sums of the last windows call the station ready."""
    past = np.pad(visits, ((0, 0), (3 * PER_WINDOW, 0))).cumsum(axis=1)
    one, two, three = (past[:, 3 * PER_WINDOW :] - past[:, (3 - n) * PER_WINDOW : -n * PER_WINDOW] for n in (1, 2, 3))
    if confirm is Confirm.SEQUENTIAL:
        return np.asarray((one >= 18) | (two >= 27) | (three >= 37))
    return np.asarray((one >= 10).astype(int) + (two - one >= 10) + (three - two >= 10) >= 2)


@pytest.mark.parametrize("mean", CALLED_READY)
@pytest.mark.parametrize("confirm", [Confirm.TWO_OF_THREE, Confirm.SEQUENTIAL])
def test_steady_traffic_is_called_ready_as_often_as_stated(mean: int, confirm: Confirm) -> None:
    stated = CALLED_READY[mean][confirm]
    fired = called_ready(drawn_hours(mean, RUNS), confirm).any(axis=1).mean()
    assert fired == pytest.approx(stated, abs=0.0015 + 4 * np.sqrt(stated * (1 - stated) / RUNS))


@pytest.mark.parametrize("mean", CALLED_READY)
def test_the_bare_rule_is_reached_as_often_as_stated(mean: int) -> None:
    assert lucky_window(10, mean, 12) == pytest.approx(CALLED_READY[mean][Confirm.FIRST], abs=0.0005)


@pytest.mark.parametrize(("mean", "confirm"), [(7, Confirm.TWO_OF_THREE), (10, Confirm.SEQUENTIAL)])
def test_the_verdict_is_ready_exactly_when_the_plain_sums_say_so(mean: int, confirm: Confirm) -> None:
    for hour in drawn_hours(mean, 2):
        visits_s = [15.0 * seq + 0.5 for seq, number in enumerate(hour) for _ in range(number)]
        told, rule = tallies(visits_s, edges(3600)), Rule(confirm=confirm)
        steps = [assess(told[:n], told[n - 1].to_at, rule).step is Step.READY for n in range(1, TALLIES + 1)]
        assert steps == called_ready(hour[np.newaxis], confirm)[0].tolist()


@settings(deadline=None, max_examples=150)
@given(
    st.lists(st.tuples(st.floats(-5000, 2000), st.sampled_from([0.5, 15.0, 900.0, 3600.0])), min_size=1, max_size=40),
    st.floats(-2000, 4000),
)
def test_whatever_was_over_before_the_look_changes_nothing(told: list[tuple[float, float]], now_s: float) -> None:
    every = [
        replace(each, from_at=moment(from_s), seconds=seconds, watched_s=seconds / 2)
        for (from_s, seconds), each in zip(told, tallies([0.1], edges(15.0 * len(told))), strict=True)
    ]
    ends = [each.to_at for each in every if each.to_at <= moment(now_s + AHEAD_MAX_S)]
    begin_at = max(ends) - timedelta(seconds=LOOK_S) if ends else moment(0)
    late = [each for each in every if each.to_at > begin_at]
    assert assess(every, moment(now_s), RULE) == assess(late, moment(now_s), RULE)


def of_boot(boot: str, visits_s: Sequence[float], from_s: float = 0.0, until_s: float = LOOK_S) -> list[Tally]:
    """Return the tallies of another start of a counter, all of them watched."""
    told = tallies(visits_s, edges(until_s))
    return [replace(tally, boot=boot) for tally in told if tally.up_s >= from_s]


def test_two_counters_under_one_name_are_unjudged_however_many_visits_they_add_up_to() -> None:
    both = [*of_boot("b1", counts(6, 6, 6)), *of_boot("b2", counts(6, 6, 6))]
    assert assess(both, moment(LOOK_S), RULE) == Verdict(Step.UNJUDGED, Reason.TWOFOLD)


def test_a_counter_that_was_started_again_is_one_counter() -> None:
    again = [*of_boot("b1", counts(0, 5, 0), until_s=450.0), *of_boot("b2", counts(0, 5, 10), from_s=465.0)]
    assert assess(again, moment(LOOK_S), RULE).reason is None


def test_two_starts_may_overlap_by_as_much_as_clocks_differ() -> None:
    again = [*of_boot("b1", [], until_s=450.0), *of_boot("b2", [], from_s=390.0)]
    assert assess(again, moment(LOOK_S), RULE).step is Step.QUIET
    again = [*of_boot("b1", [], until_s=465.0), *of_boot("b2", [], from_s=390.0)]
    assert assess(again, moment(LOOK_S), RULE).reason is Reason.TWOFOLD


def test_two_counters_that_both_fell_silent_are_silent() -> None:
    both = [*of_boot("b1", []), *of_boot("b2", [])]
    assert assess(both, moment(LOOK_S + 1000.0), RULE).reason is Reason.SILENT
