"""The machine's count is held against a person's, and what one of them did not see is left out."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.comparison.recount import Recount, recount, tallied
from swapbell_models.traffic import Window

START_AT = datetime(2026, 1, 15, 9, tzinfo=UTC)
FIVE_MINUTES = timedelta(minutes=5)


def windows(*counts: int, watched_s: float = 300.0) -> list[Window]:
    """Return consecutive windows of five minutes with these counts."""
    starts = [START_AT + n * FIVE_MINUTES for n in range(len(counts))]
    return [Window(at, at + FIVE_MINUTES, counted, watched_s) for at, counted in zip(starts, counts, strict=True)]


def test_errors_are_machine_less_person() -> None:
    found = recount(windows(9, 12, 10), [10, 10, 10])
    assert found.errors == (-1, 2, 0)
    assert found.total_error == pytest.approx(1 / 30)
    assert found.mean_error == pytest.approx(1.0)
    assert found.exact_share == pytest.approx(1 / 3)


def test_a_window_that_the_person_did_not_count_is_left_out() -> None:
    found = recount(windows(9, 12, 10), [10, None, 10])
    assert (found.machine, found.person, found.left_out) == ((9, 10), (10, 10), 1)


def test_a_window_that_the_machine_watched_in_part_is_left_out() -> None:
    assert recount(windows(9, watched_s=296.9), [10]).left_out == 1
    assert recount(windows(9, watched_s=297.0), [10]).left_out == 0


def test_nothing_seen_by_both_is_no_perfect_score() -> None:
    found = recount(windows(9), [None])
    assert (found.total_error, found.mean_error, found.exact_share) == (None, None, None)


def test_a_total_without_visits_has_no_error_in_percent() -> None:
    found = recount(windows(1, 0), [0, 0])
    assert (found.total_error, found.mean_error) == (None, 0.5)


def test_limits_and_concordance_are_those_of_the_counts() -> None:
    found = recount(windows(9, 12, 10, 30), [10, 10, 10, 29])
    assert found.limits().bias.value == pytest.approx(0.5)
    assert found.concordance().word == "substantial"


def test_two_windows_are_too_few_for_limits() -> None:
    with pytest.raises(ValueError, match="must be of 3 things or more, not 2"):
        Recount((1, 2), (1, 2), 0).limits()


def test_each_window_needs_its_count() -> None:
    with pytest.raises(ValueError, match=r"^person must have as many windows as machine, 2, not 1$"):
        recount(windows(1, 2), [1])


def test_a_count_is_not_negative() -> None:
    with pytest.raises(ValueError, match=r"^person must hold counts from 0 up or nothing, not -1$"):
        recount(windows(1, 2), [1, -1])


def test_clicks_fall_into_windows_that_begin_with_their_first_moment() -> None:
    clicks = [START_AT, START_AT + FIVE_MINUTES, START_AT + FIVE_MINUTES - timedelta(microseconds=1)]
    assert tallied(clicks, START_AT, START_AT + 2 * FIVE_MINUTES) == [2, 1]


def test_a_rest_shorter_than_a_window_is_left_out() -> None:
    end_at = START_AT + 2 * FIVE_MINUTES - timedelta(seconds=1)
    assert tallied([START_AT + timedelta(minutes=7)], START_AT, end_at) == [0]


@given(st.lists(st.integers(0, 3599), max_size=60))
def test_no_click_is_lost_within_whole_windows(seconds: list[int]) -> None:
    clicks = [START_AT + timedelta(seconds=second) for second in seconds]
    counts = tallied(clicks, START_AT, START_AT + timedelta(hours=1))
    assert (len(counts), sum(counts)) == (12, len(seconds))


def test_a_naive_moment_is_refused() -> None:
    naive = START_AT.replace(tzinfo=None)
    for name, arguments in {
        "clicks_at": ([naive], START_AT, START_AT),
        "from_at": ([], naive, START_AT),
        "to_at": ([], START_AT, naive),
    }.items():
        with pytest.raises(ValueError, match=rf"^{name} must say its offset from UTC"):
            tallied(*arguments)


def test_a_window_has_a_length() -> None:
    with pytest.raises(ValueError, match=r"^window_s must be a number above 0 s, not 0"):
        tallied([], START_AT, START_AT, window_s=0.0)
