import numpy as np
import pytest

from swapbell_device.drawing.way import STEP_S, Leg, Way, follow


def _rng() -> np.random.Generator:
    return np.random.default_rng(4)


def test_a_way_ends_where_its_last_leg_leads() -> None:
    way = follow((0.0, 0.0), [Leg((40.0, 0.0), 30.0), Leg((40.0, 50.0), 30.0)], _rng())
    assert way.rows[-1, :2] == pytest.approx([40.0, 50.0], abs=0.5)


def test_a_body_that_stays_keeps_its_place_and_its_heading() -> None:
    way = follow((0.0, 0.0), [Leg((20.0, 0.0), 30.0, dwell_s=10.0)], _rng())
    early, late = way.pose(way.end_s - 8.0), way.pose(way.end_s - 0.5)
    assert early is not None
    assert late is not None
    assert late == pytest.approx(early, abs=1e-6)


def test_a_body_walks_head_first() -> None:
    way = follow((0.0, 0.0), [Leg((0.0, -60.0), 30.0)], _rng())
    assert np.median(way.rows[:, 2]) == pytest.approx(-np.pi / 2, abs=0.3)


def test_nobody_is_there_before_or_after_the_way() -> None:
    way = follow((0.0, 0.0), [Leg((20.0, 0.0), 30.0)], _rng()).later(5.0)
    assert way.pose(4.99) is None
    assert way.pose(way.end_s + STEP_S) is None
    assert way.pose(5.1) is not None


def test_a_part_of_a_way_is_the_same_way() -> None:
    way = follow((0.0, 0.0), [Leg((60.0, 0.0), 30.0)], _rng()).later(-1.0)
    part = way.between(0.0, 1.0)
    assert part is not None
    assert part.pose(0.5) == pytest.approx(way.pose(0.5))
    assert part.pose(1.5) is None


def test_a_way_that_lies_outside_has_no_part() -> None:
    assert Way(0.0, np.zeros((10, 5))).between(3.0, 4.0) is None
