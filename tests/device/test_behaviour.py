import math

import numpy as np
import pytest

from swapbell_device.drawing import groups
from swapbell_device.drawing.behaviour import Place, arrive, cross, depart, fly
from swapbell_device.drawing.crowd import Crowd, looks, meet
from swapbell_device.drawing.insect import Kind
from swapbell_device.drawing.lingering import along, feint, groom, rest, stray
from swapbell_device.drawing.opening import Opening
from swapbell_device.drawing.sight import Sight
from swapbell_device.drawing.stage import Stage
from swapbell_device.drawing.way import STEP_S, Way
from swapbell_models.optics import Square
from swapbell_models.tally import Direction

PLACE = Place(Opening((64.0, 48.0), 0.4, 80.0, -1), Sight((640, 480), Square(0.2)))
LENGTH_MM = 14.0
SEEDS = range(20)


def _rng(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def _directions(way: Way) -> list[Direction]:
    return [direction for _, direction in PLACE.opening.passages(way, LENGTH_MM)]


def _deep_mm(way: Way) -> np.ndarray:
    return PLACE.opening.beyond_aside(way.rows[:, :2])[0]


@pytest.mark.parametrize("seed", SEEDS)
def test_visitors_go_through_once_and_begin_and_end_out_of_view(seed: int) -> None:
    ways = [
        (cross(PLACE, LENGTH_MM, True, _rng(seed)), Direction.IN),
        (cross(PLACE, LENGTH_MM, False, _rng(seed)), Direction.OUT),
        (arrive(PLACE, LENGTH_MM, _rng(seed)), Direction.IN),
        (depart(PLACE, LENGTH_MM, _rng(seed)), Direction.OUT),
        (fly(PLACE, LENGTH_MM, True, _rng(seed)), Direction.IN),
    ]
    for way, direction in ways:
        assert _directions(way) == [direction]
        assert not any(PLACE.sight.shows(tuple(way.rows[end, :2])) for end in (0, -1))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_feint_reaches_the_line_and_crosses_nothing(seed: int) -> None:
    way = feint(PLACE, LENGTH_MM, True, _rng(seed))
    assert _directions(way) == []
    assert -0.5 * LENGTH_MM < _deep_mm(way).max() < 0.45 * LENGTH_MM


@pytest.mark.parametrize("seed", SEEDS)
def test_walking_along_the_line_crosses_nothing(seed: int) -> None:
    assert _directions(along(PLACE, LENGTH_MM, _rng(seed))) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stray_crosses_once_or_never_as_it_likes(seed: int) -> None:
    assert _directions(stray(PLACE, LENGTH_MM, _rng(seed), goes_in=True)) == [Direction.IN]
    assert _directions(stray(PLACE, LENGTH_MM, _rng(seed), goes_in=False)) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_grooming_in_the_gate_takes_a_minute_and_counts_once_if_it_goes_in(seed: int) -> None:
    way = groom(PLACE, LENGTH_MM, _rng(seed), goes_in=True)
    in_the_gate = np.abs(_deep_mm(way)) < 0.5 * LENGTH_MM
    assert in_the_gate.sum() * STEP_S > 30.0
    assert np.count_nonzero(np.diff(np.sign(_deep_mm(way)))) == 1
    assert _directions(way) == [Direction.IN]
    assert _directions(groom(PLACE, LENGTH_MM, _rng(seed), goes_in=False)) == []


def test_a_rest_is_as_long_as_it_says_and_does_not_move() -> None:
    way = rest(PLACE, LENGTH_MM, _rng(1), 85.0)
    still = np.abs(np.diff(way.rows[:, 4])) < 1e-9
    assert still.sum() * STEP_S == pytest.approx(85.0, abs=1.0)
    assert _directions(way) == [Direction.IN]


def test_bodies_vanish_in_a_hole_and_come_out_of_it() -> None:
    hole = Place(PLACE.opening, PLACE.sight, deep_mm=30.0)
    assert _deep_mm(cross(hole, LENGTH_MM, True, _rng(1)))[-1] == pytest.approx(30.0, abs=0.5)
    assert _deep_mm(cross(hole, LENGTH_MM, False, _rng(1)))[0] == pytest.approx(30.0, abs=0.5)


def test_a_crowd_leaves_out_who_would_meet_others() -> None:
    crowd = Crowd(looks(_rng(1), bright_bodies=False), _rng(2))
    way = cross(PLACE, LENGTH_MM, True, _rng(3))
    one, other = (crowd.body(Kind.WASP, LENGTH_MM, way.later(wait)) for wait in (0.0, 0.05))
    assert crowd.add(one)
    assert not crowd.add(other)
    assert crowd.insects == [one]


def test_nobody_is_sent_while_the_place_is_closed() -> None:
    crowd = Crowd(looks(_rng(1), bright_bodies=False), _rng(2), closed_s=(10.0, 20.0))
    assert crowd.send(Kind.WASP, lambda length, rng: cross(PLACE, length, True, rng), 12.0) is None
    assert crowd.send(Kind.WASP, lambda length, rng: cross(PLACE, length, True, rng), 25.0) is not None


@pytest.mark.parametrize("group", [groups.abreast, groups.queue, groups.passing])
def test_a_group_goes_through_close_together_and_touches_nowhere(group: groups.Group) -> None:
    stage = Stage(5)
    one, other = group(stage, 10.0)[:2]
    assert not meet(one, other, 0.0)
    first, second = (next(stage.place.opening.passages(i.way, i.length_mm)) for i in (one, other))
    assert abs(first[0] - second[0]) < 1.5


def test_those_who_pass_each_other_are_on_the_line_at_the_same_moment() -> None:
    stage = Stage(6)
    inward, outward = groups.passing(stage, 10.0)
    (in_s, _), (out_s, _) = (next(stage.place.opening.passages(i.way, i.length_mm)) for i in (inward, outward))
    assert in_s == pytest.approx(out_s, abs=1e-6)
    assert math.isclose(inward.way.start_s, 10.0)
