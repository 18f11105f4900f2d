import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.way import STEP_S, Way
from swapbell_models.tally import Direction

LENGTH_MM = 14.0
LINE = Opening((0.0, 0.0), 0.0, 1000.0)


def _way(beyond_mm: list[float], aside_mm: float = 0.0, opening: Opening = LINE) -> Way:
    """A body that goes straight from each place to the next, one second each."""
    times = np.arange(0.0, len(beyond_mm) - 1, STEP_S)
    depth = np.interp(times, np.arange(len(beyond_mm)), beyond_mm)
    points = [opening.point(one, aside_mm) for one in depth.tolist()]
    rows = np.zeros((len(times), 5))
    rows[:, :2] = points
    return Way(0.0, rows)


def _passages(beyond_mm: list[float], aside_mm: float = 0.0) -> list[tuple[float, Direction]]:
    return list(LINE.passages(_way(beyond_mm, aside_mm), LENGTH_MM))


def test_a_body_that_goes_through_crosses_when_its_centre_is_on_the_line() -> None:
    ((at_s, direction),) = _passages([-30.0, 10.0])
    assert direction is Direction.IN
    assert at_s == pytest.approx(0.75)


def test_going_back_is_a_crossing_out() -> None:
    assert [direction for _, direction in _passages([-30.0, 30.0, -30.0])] == [Direction.IN, Direction.OUT]


def test_turning_back_within_half_a_body_is_no_crossing() -> None:
    assert _passages([-30.0, 0.49 * LENGTH_MM, -30.0]) == []


def test_turning_back_just_after_half_a_body_is_two_crossings() -> None:
    assert len(_passages([-30.0, 0.51 * LENGTH_MM, -30.0])) == 2


def test_a_body_that_dithers_on_the_line_crosses_at_its_last_passage() -> None:
    ((at_s, _),) = _passages([-20.0, 5.0, -5.0, 20.0])
    assert at_s == pytest.approx(2.2)


def test_going_round_the_end_of_the_line_is_no_crossing() -> None:
    assert _passages([-30.0, 30.0], aside_mm=501.0) == []


@given(
    depths=st.lists(st.floats(-40.0, 40.0), min_size=2, max_size=12),
    turn=st.floats(-math.pi, math.pi),
    inward=st.sampled_from([-1, 1]),
)
def test_net_crossings_are_the_change_of_side(depths: list[float], turn: float, inward: int) -> None:
    opening = Opening((50.0, 40.0), turn, 1000.0, inward)
    depths = [-25.0, *depths, 25.0 if depths[-1] > 0.0 else -25.0]
    passages = list(opening.passages(_way(depths, opening=opening), LENGTH_MM))
    net = sum(1 if direction is Direction.IN else -1 for _, direction in passages)
    assert net == (1 if depths[-1] > 0.0 else 0)
    assert [at_s for at_s, _ in passages] == sorted(at_s for at_s, _ in passages)


@given(beyond=st.floats(-99, 99), aside=st.floats(-99, 99), turn=st.floats(-math.pi, math.pi))
def test_places_are_found_again_from_their_points(beyond: float, aside: float, turn: float) -> None:
    opening = Opening((12.0, 34.0), turn, 50.0, -1)
    found_beyond, found_aside = opening.beyond_aside(np.array([opening.point(beyond, aside)]))
    assert found_beyond[0] == pytest.approx(beyond, abs=1e-9)
    assert found_aside[0] == pytest.approx(aside, abs=1e-9)
