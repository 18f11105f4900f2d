from dataclasses import replace
from functools import cache
from itertools import combinations, islice

import numpy as np
import pytest

from swapbell_device.camera import Frame
from swapbell_device.drawing.by_traffic import throng
from swapbell_device.drawing.conditions import CONDITIONS, draw
from swapbell_device.drawing.crowd import meet
from swapbell_device.drawing.insect import Insect
from swapbell_device.drawing.intruders import Hand
from swapbell_device.drawing.lens import Shake
from swapbell_device.drawing.scene import Scene
from swapbell_device.drawing.sensor import Sensor
from swapbell_models.fault import Mistake
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Direction

EMPTY = ("hand-only", "cloud-only", "unrest")
VISITED = tuple(name for name in CONDITIONS if name not in EMPTY)


@cache
def _scene(name: str) -> Scene:
    return draw(name, 1)


def _net(scene: Scene, insect: Insect) -> int:
    passages = scene.opening.passages(insect.way, insect.length_mm)
    return sum(1 if direction is Direction.IN else -1 for _, direction in passages)


def _frame_at(scene: Scene, at_s: float) -> Frame:
    """The frame at a moment, drawn alone."""
    one = replace(scene, times_s=scene.times_s[np.searchsorted(scene.times_s, at_s)][None])
    return next(one.frames())


@pytest.mark.parametrize("name", CONDITIONS)
def test_frames_are_luma_of_the_view_in_time_order(name: str) -> None:
    scene = _scene(name)
    frames = list(islice(scene.frames(), 3))
    assert all(frame.image.dtype == np.uint8 and frame.image.shape == scene.size[::-1] for frame in frames)
    assert frames[0].at_s == 0.0
    assert (np.diff(scene.times_s) > 0.0).all()


@pytest.mark.parametrize("name", CONDITIONS)
def test_the_same_seed_gives_the_same_frames_and_truth(name: str) -> None:
    one, other = _scene(name), draw(name, 1)
    assert one.truth == other.truth
    moment = float(one.times_s[-1]) / 2
    assert np.array_equal(_frame_at(one, moment).image, _frame_at(other, moment).image)


@pytest.mark.parametrize("name", CONDITIONS)
def test_the_gate_lies_in_the_image(name: str) -> None:
    scene = _scene(name)
    scene.station.check_size(scene.size)


@pytest.mark.parametrize("name", VISITED)
def test_something_is_there_to_be_counted(name: str) -> None:
    assert len(_scene(name).truth) >= 3


@pytest.mark.parametrize("name", EMPTY)
def test_nothing_is_there_to_be_counted(name: str) -> None:
    assert _scene(name).truth == ()


@pytest.mark.parametrize("name", VISITED)
def test_bodies_come_in_as_often_as_they_are_inside_afterwards(name: str) -> None:
    scene = _scene(name)
    for insect in scene.insects:
        beyond, _ = scene.opening.beyond_aside(insect.way.rows[[0, -1], :2])
        assert _net(scene, insect) == int(beyond[1] > 0.0) - int(beyond[0] > 0.0)


@pytest.mark.parametrize("name", ["calm", "feints", "rain"])
def test_truth_does_not_depend_on_light_lens_or_sensor(name: str) -> None:
    scene = _scene(name)
    worse = replace(scene, over=(Shake(3.0, 2.0, 0.0),), under=(), sensor=Sensor(60.0, 20.0), board=scene.board * 0.5)
    assert worse.truth == scene.truth


@pytest.mark.parametrize("name", ["calm", "angled", "kinds", "blocks"])
def test_a_body_is_seen_where_its_way_says(name: str) -> None:
    scene = _scene(name)
    empty = replace(scene, insects=())
    crossing = next(c for c in scene.truth if c.size is SizeClass.WASP)
    frame, without = _frame_at(scene, crossing.at_s), _frame_at(empty, crossing.at_s)
    poses = [pose for insect in scene.insects if (pose := insect.way.pose(frame.at_s))]
    x, y = min(
        (scene.sight.px((pose.x_mm, pose.y_mm)) for pose in poses),
        key=lambda px: abs(scene.opening.beyond_aside(np.array([scene.sight.optics.to_mm(*px)]))[0][0]),
    )
    patch = np.s_[round(y) - 2 : round(y) + 3, round(x) - 2 : round(x) + 3]
    assert abs(frame.image[patch].mean() - without.image[patch].mean()) > 15.0


@pytest.mark.parametrize("name", ["busy", "abreast", "queue", "passing"])
def test_no_two_bodies_are_in_one_place(name: str) -> None:
    insects = _scene(name).insects
    assert not any(meet(one, other, 0.0) for one, other in combinations(insects, 2))


def test_nobody_is_about_while_the_hand_is_there() -> None:
    scene = _scene("hand")
    reach, _ = scene.over
    assert isinstance(reach, Hand)
    assert not any(reach.from_s < c.at_s < reach.to_s + 3.0 for c in scene.truth)
    assert any(c.at_s > reach.to_s for c in scene.truth)


def test_the_rush_reaches_ten_visits_in_five_minutes_late() -> None:
    for seed in range(1, 6):
        visits = [c.at_s for c in draw("rush", seed).truth if c.is_visit()]
        tenth = next(at_s for first, at_s in zip(visits, visits[9:], strict=False) if at_s - first < 300.0)
        assert tenth > 60.0


def test_kinds_have_all_size_classes() -> None:
    assert {c.size for c in _scene("kinds").truth} == set(SizeClass)


def test_flyers_come_near_one_metre_a_second() -> None:
    scene = _scene("flight-60")
    speeds = [insect.way.rows[-1, 4] / (insect.way.end_s - insect.way.start_s) for insect in scene.insects]
    assert 800.0 < max(speeds) < 1200.0


def test_uneven_frames_are_uneven() -> None:
    steps = np.diff(_scene("uneven").times_s)
    assert steps.max() > 3.0 * np.median(steps)


def test_one_seed_makes_another_scene_of_each_condition() -> None:
    assert _scene("calm").truth != _scene("busy").truth


@pytest.mark.parametrize("bodies", [0, 5, 15])
def test_a_throng_has_that_many_bodies_in_view_all_the_time(bodies: int) -> None:
    scene = throng(1, bodies)
    for at_s in (0.0, 7.0, 19.0):
        poses = [insect.way.pose(at_s) for insect in scene.insects]
        assert sum(pose is not None and scene.sight.shows((pose.x_mm, pose.y_mm)) for pose in poses) == bodies
    assert scene.size == (640, 480)


def test_an_unknown_condition_is_the_callers_mistake() -> None:
    with pytest.raises(Mistake, match="condition snow: there is no such condition; choose from calm, busy"):
        draw("snow", 1)
