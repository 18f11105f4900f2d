import motmetrics
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from swapbell_device.scoring.score import WITHIN_S, Event, Marks, Score, match, reached_s, score
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

MOMENTS = st.lists(st.floats(0.0, 12.0), max_size=14).map(sorted)


def _in(*times_s: float, size: SizeClass = SizeClass.WASP, length_mm: float = 14.0) -> list[Event]:
    return [Event(at_s, Direction.IN, size, length_mm) for at_s in times_s]


def _out(*times_s: float) -> list[Event]:
    return [Event(at_s, Direction.OUT, SizeClass.WASP, 14.0) for at_s in times_s]


def _apart_s(true: list[float], counted: list[float]) -> np.ndarray:
    return np.abs(np.array(true)[:, None] - np.array(counted)[None, :])


def test_a_perfect_count_scores_one() -> None:
    found = score(_in(1.0, 2.0), _in(1.2, 1.9))
    assert (found.whole.precision, found.whole.recall, found.whole.f1) == (1.0, 1.0, 1.0)
    assert found.count_error == 0.0


def test_half_a_second_is_a_match_and_more_is_none() -> None:
    assert score(_in(1.0), _in(1.5)).whole.matched == 1
    assert score(_in(1.0), _in(1.51)).whole.matched == 0


def test_the_right_moment_in_the_wrong_direction_is_a_miss_and_an_invention() -> None:
    assert score(_in(1.0), _out(1.0)).whole == Marks(1, 1, 0)


def test_errors_in_and_out_do_not_make_up_for_each_other() -> None:
    assert score(_in(1.0, 5.0), [*_in(1.0), *_out(9.0)]).count_error == 1.0


def test_one_counted_event_matches_one_true_event_only() -> None:
    assert score(_in(1.0, 1.3), _in(1.1)).whole == Marks(2, 1, 1)


def test_a_wrong_size_is_no_match_of_its_class_but_a_match_of_all() -> None:
    found = score(_in(1.0), _in(1.0, size=SizeClass.LARGE))
    assert found.whole.f1 == 1.0
    assert found.sizes[SizeClass.WASP].recall == 0.0
    assert found.sizes[SizeClass.LARGE].precision == 0.0


def test_a_visit_is_wasp_sized_and_comes_in() -> None:
    true = [*_in(1.0), *_in(3.0, size=SizeClass.SMALL), *_in(5.0), *_out(7.0)]
    counted = [*_in(1.0), *_in(3.0), *_in(5.0, size=SizeClass.LARGE), *_out(7.0)]
    assert score(true, counted).visits == Marks(2, 2, 1)
    assert (score(true, counted) + score(true, true)).visits == Marks(4, 4, 3)


def test_visits_where_nothing_came_are_invented() -> None:
    assert score([], _in(1.0)).visits == Marks(0, 1, 0)


def test_length_errors_are_those_of_matched_events() -> None:
    true = [*_in(1.0, length_mm=14.0), *_in(5.0, length_mm=12.0), *_in(9.0, length_mm=15.0)]
    found = score(true, [*_in(1.0, length_mm=15.0), *_in(5.0, length_mm=15.0), *_in(20.0, length_mm=40.0)])
    assert found.length_bias_mm == pytest.approx(2.0)
    assert found.length_spread_mm == pytest.approx(np.std([1.0, 3.0], ddof=1))
    assert found.length_error_mm == pytest.approx(2.0)


def test_nothing_to_count_and_nothing_counted_has_no_figures() -> None:
    empty = score([], [])
    assert (empty.whole.precision, empty.whole.recall, empty.whole.f1) == (None, None, None)
    assert (empty.count_error, empty.length_bias_mm, empty.reached_off_s) == (None, None, None)


def test_footage_without_sizes_is_scored_without_sizes() -> None:
    found = score([Event(1.0, Direction.IN)], _in(1.0))
    assert found.whole.f1 == 1.0
    assert (found.sizes, found.visits.f1) == ({}, None)


def test_the_worst_window_is_the_five_minutes_with_most_error() -> None:
    true = _in(*range(0, 100, 10), *range(1000, 1100, 10))
    counted = _in(*range(0, 100, 10), *range(1000, 1050, 10))
    assert score(true, counted).worst_window == (10, 5)


def test_a_visit_counted_a_moment_early_stays_in_its_window() -> None:
    assert score(_in(10.0, 20.0), _in(9.8, 19.8)).worst_window == (2, 2)


def test_the_rule_is_reached_with_the_tenth_visit_in_five_minutes() -> None:
    assert reached_s([float(t) for t in range(0, 1000, 30)]) == 270.0
    assert reached_s([float(t) for t in range(0, 1000, 34)]) is None


def test_a_count_that_never_reaches_the_rule_is_told() -> None:
    found = score(_in(*range(0, 100, 10)), _in(*range(0, 50, 10)))
    assert found.reached_wrongly == 1
    assert found.reached_off_s is None


def test_where_neither_reaches_the_rule_there_is_nothing_to_tell_of_it() -> None:
    assert score(_in(1.0), _in(1.0)).reached_wrongly is None


def test_scores_of_several_clips_add_up() -> None:
    both = score(_in(1.0), _in(1.0)) + score(_in(1.0), []) + Score()
    assert both.whole == Marks(2, 1, 1)
    assert both.count_error == 0.5
    assert both.sizes[SizeClass.WASP] == Marks(2, 1, 1)


@given(true=MOMENTS, counted=MOMENTS)
def test_no_other_matching_has_more_pairs(true: list[float], counted: list[float]) -> None:
    close = _apart_s(true, counted) <= WITHIN_S
    rows, columns = linear_sum_assignment(close, maximize=True)
    pairs = match(_in(*true), _in(*counted))
    assert len(pairs) == int(close[rows, columns].sum())
    assert all(abs(one.at_s - other.at_s) <= WITHIN_S for one, other in pairs)
    assert len({id(one) for one, _ in pairs}) == len({id(other) for _, other in pairs}) == len(pairs)


@settings(max_examples=30, deadline=None)
@given(true=MOMENTS, counted=MOMENTS.filter(bool))
def test_figures_agree_with_motmetrics(true: list[float], counted: list[float]) -> None:
    """One frame that holds all events: there its matches, precision and recall mean what ours mean."""
    apart = _apart_s(true, counted)
    events = motmetrics.MOTAccumulator(auto_id=True)
    events.update(range(len(true)), range(len(counted)), np.where(apart <= WITHIN_S, apart, np.nan))
    names = ["num_matches", "num_misses", "num_false_positives", "precision", "recall"]
    theirs = motmetrics.metrics.create().compute(events, metrics=names).iloc[0]
    ours = score(_in(*true), _in(*counted)).whole
    assert (ours.matched, ours.true - ours.matched) == (theirs.num_matches, theirs.num_misses)
    assert ours.counted - ours.matched == theirs.num_false_positives
    assert ours.precision == pytest.approx(theirs.precision)
    assert ours.recall is None or ours.recall == pytest.approx(theirs.recall)
