"""The trade's two rules for the swap are one, and who comes in goes out again."""

import math
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tallies import tally

from swapbell_models.presence import Passage, at_once, passage, visits_of
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction

MINUTE_S = 60.0


@pytest.mark.parametrize(("stay_min", "wasps"), [(1, 2), (1.5, 3), (2, 4), (2.5, 5), (3, 6)])
def test_ten_visits_in_five_minutes_are_so_many_at_once(stay_min: float, wasps: float) -> None:
    # Little 1961, Oper Res 9:383-387, by arithmetic: 2 arrivals in a minute x stay. An advisory note for vineyards
    # (AWRI, 13 February 2019) says 3 to 5 feeding at once: a stay of 1.5 to 2.5 min.
    assert at_once(10, stay_min * MINUTE_S) == pytest.approx(wasps)
    assert visits_of(wasps, stay_min * MINUTE_S) == pytest.approx(10)


@given(st.lists(st.tuples(st.floats(0, 3600), st.floats(1, 600)), min_size=1, max_size=40))
def test_as_many_are_there_on_average_as_little_says(visits: list[tuple[float, float]]) -> None:
    # The time-average of how many are there, second by second, over a stretch that all of them come and go in.
    stretch_s = max(came + stay for came, stay in visits) + 1.0
    seconds = [k + 0.5 for k in range(int(stretch_s))]
    there = sum(came <= at < came + stay for at in seconds for came, stay in visits) / stretch_s
    mean_stay_s = sum(stay for _, stay in visits) / len(visits)
    assert at_once(len(visits), mean_stay_s, stretch_s) == pytest.approx(there, abs=len(visits) / stretch_s)


@given(st.floats(0, 1e4), st.floats(1, 1e4), st.floats(1, 1e4))
def test_there_and_back(visits: float, stay_s: float, window_s: float) -> None:
    assert visits_of(at_once(visits, stay_s, window_s), stay_s, window_s) == pytest.approx(visits)


def test_only_wasp_sized_insects_pass() -> None:
    crossings = tuple(
        Crossing(at_s=1.0, direction=way, size=size, length_mm=13.0) for way in Direction for size in SizeClass
    )
    busy = replace(tally(1, 0, 15, [], 15), crossings=(*crossings, crossings[1]))
    assert passage([busy, tally(2, 15, 30, [20.0, 21.0], 15)]) == Passage(4, 3)


def test_a_balance_is_out_less_in_over_both() -> None:
    assert Passage(60, 40).balance == pytest.approx(-0.2)
    assert Passage(40, 60).balance == pytest.approx(0.2)
    assert Passage(0, 0).balance is None


def test_chance_makes_a_few_less_and_no_more() -> None:
    # Two standard errors of the difference of two Poisson counts: 2 x sqrt(100) of 100 crossings.
    assert Passage(60, 40).is_even
    assert Passage(40, 60).is_even
    assert not Passage(61, 39).is_even
    assert not Passage(39, 61).is_even
    assert Passage(0, 0).is_even


@pytest.mark.parametrize("wrong", [-1.0, math.nan, math.inf])
def test_what_is_no_count_no_stay_or_no_window_is_refused(wrong: float) -> None:
    for name, ask in {
        "per_window": lambda: at_once(wrong, 60),
        "stay_s": lambda: at_once(10, wrong),
        "window_s": lambda: at_once(10, 60, wrong),
        "present": lambda: visits_of(wrong, 60),
    }.items():
        with pytest.raises(ValueError, match=rf"^{name} must be a number .*, not {wrong}$"):
            ask()
    assert timedelta(seconds=at_once(0, 60)) == timedelta()
