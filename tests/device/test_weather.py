import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.drawing.intruders import Bait, Hand, grass
from swapbell_device.drawing.lens import Dew, Shake
from swapbell_device.drawing.light import SunDrift, clouds, leaves
from swapbell_device.drawing.sensor import Exposure, Sensor
from swapbell_device.drawing.wet import DRYING_S, Drop, Drops, Spots, Streaks, spots

SIZE = (160, 120)


def _light(level: float = 0.5) -> np.ndarray:
    return np.full(SIZE[::-1], level, np.float32)


def _rng() -> np.random.Generator:
    return np.random.default_rng(3)


@given(at_s=st.floats(0.0, 1000.0), rate=st.floats(0.1, 9.0), phase=st.floats(0.0, 6.0))
def test_a_shaken_camera_never_moves_further_than_its_reach(at_s: float, rate: float, phase: float) -> None:
    assert max(map(abs, Shake(3.0, rate, phase).shift_px(at_s))) <= 3.0


def test_a_shake_moves_the_image() -> None:
    light = _light()
    light[:, 80:] = 1.0
    moved = [Shake(3.0, 2.0, 0.0)(light.copy(), at_s).sum() for at_s in (0.1, 0.2, 0.3)]
    assert len(set(moved)) == 3


def test_clouds_take_up_to_their_depth_within_a_second() -> None:
    strengths = np.array([clouds(60.0, 0.3, 3.0, _rng()).strength(at_s) for at_s in np.arange(0.0, 60.0, 0.1)])
    assert strengths.min() == pytest.approx(0.7, abs=0.03)
    assert strengths.max() <= 1.0
    assert np.abs(strengths[10:] - strengths[:-10]).max() > 0.2


def test_leaves_take_light_that_moves_and_never_add_any() -> None:
    shade = leaves(SIZE, 0.3, 0.5, _rng())
    one, other = shade(_light(1.0), 0.0), shade(_light(1.0), 0.8)
    assert 0.2 <= one.min() < one.max() <= 1.0
    assert np.abs(one - other).max() > 0.05


def test_the_sun_moves_slowly() -> None:
    drift = SunDrift(90.0, 0.4, 0.0)
    assert np.abs(drift(_light(), 10.0) - drift(_light(), 10.1)).max() < 0.005
    assert np.abs(drift(_light(), 10.0) - drift(_light(), 50.0)).max() > 0.05


def test_streaks_only_add_light_and_are_the_same_at_the_same_moment() -> None:
    streaks = Streaks(20.0, 0.1, 40.0, 0.3, seed=1)
    wet = streaks(_light(), 1.0)
    assert (wet >= 0.5).all()
    assert wet.max() > 0.6
    assert np.array_equal(wet, streaks(_light(), 1.0))
    assert not np.array_equal(wet, streaks(_light(), 1.05))


def test_a_wet_spot_darkens_at_once_and_dries() -> None:
    spot = Spots(((5.0, 50, 50, 6),))
    assert spot(_light(), 4.9)[50, 50] == 0.5
    assert spot(_light(), 5.0)[50, 50] < spot(_light(), 5.0 + DRYING_S / 2)[50, 50] < 0.5
    assert spot(_light(), 5.0 + DRYING_S)[50, 50] == 0.5


def test_rain_leaves_more_spots_the_harder_it_falls() -> None:
    assert len(spots(SIZE, 60.0, 3.0, 0.3, _rng()).spots) > 2 * len(spots(SIZE, 60.0, 1.0, 0.3, _rng()).spots)


def test_a_drop_on_the_lens_changes_only_what_it_covers() -> None:
    light = _light()
    light[::2] = 0.8
    wet = Drops((Drop(2.0, 80.0, 60.0, 20, 0.0),))(light.copy(), 3.0)
    changed = np.argwhere(wet != light)
    assert len(changed) > 400
    assert np.hypot(*(changed - (60, 80)).T).max() <= 21.0
    assert np.array_equal(Drops((Drop(2.0, 80.0, 60.0, 20, 0.0),))(light.copy(), 1.0), light)


def test_dew_blurs_and_veils() -> None:
    light = _light(0.2)
    light[:, 80:] = 0.8
    seen = Dew(3.0, 0.3)(light, 0.0)
    assert np.abs(np.diff(seen[60])).max() < 0.1
    assert seen.max() - seen.min() < 0.6 * 0.75


def test_a_hand_is_there_between_its_times_only() -> None:
    hand = Hand(5.0, 9.0, (80.0, 60.0), 0.0, 300.0, 60.0, 0.6)
    assert np.array_equal(hand(_light(0.2), 4.9), _light(0.2))
    assert np.array_equal(hand(_light(0.2), 9.1), _light(0.2))
    assert (np.abs(hand(_light(0.2), 7.0) - 0.2) > 0.05).mean() > 0.15


def test_a_hand_comes_from_out_of_view() -> None:
    hand = Hand(5.0, 9.0, (80.0, 60.0), 0.0, math.hypot(*SIZE) + 60.0, 60.0, 0.6)
    assert np.array_equal(hand(_light(0.2), 5.01), _light(0.2))


def test_the_bait_is_another_one_after_the_change() -> None:
    bait = Bait(10.0, (80, 60, 20, 0.3), (80, 60, 20, 0.8))
    assert bait(_light(), 9.0)[60, 80] == pytest.approx(0.3)
    assert bait(_light(), 11.0)[60, 80] == pytest.approx(0.8)


def test_grass_waves_at_the_lower_edge_only() -> None:
    blades = grass(SIZE, 10, _rng())
    one, other = blades(_light(), 0.0), blades(_light(), 0.7)
    assert not np.array_equal(one, other)
    assert (one[: SIZE[1] // 2] == 0.5).all()


def test_noise_is_as_strong_as_the_sensor_says() -> None:
    exposure = Exposure(Sensor(200.0, 3.0, 0.04, 1.0), SIZE, _rng())
    frame = exposure.frame(_light(), _rng())
    assert frame.mean() == pytest.approx(100.0, abs=0.5)
    assert frame.std() == pytest.approx(math.sqrt(9.0 + 0.04 * 100.0), rel=0.05)


def test_corners_get_less_light() -> None:
    frame = Exposure(Sensor(200.0, 0.0, 0.0, 0.5), SIZE, _rng()).frame(_light(1.0), _rng())
    assert frame[0, 0] == pytest.approx(100, abs=2)
    assert frame[60, 80] == pytest.approx(200, abs=2)


def test_packing_leaves_blocks() -> None:
    ramp = np.tile(np.linspace(0.2, 0.8, SIZE[0], dtype=np.float32), (SIZE[1], 1))
    frame = Exposure(Sensor(235.0, 0.0, 0.0, 1.0, 10), SIZE, _rng()).frame(ramp, _rng())
    steps = np.abs(np.diff(frame.astype(int), axis=1)).mean(axis=0)
    assert steps[7::8].mean() > 1.5 * np.delete(steps, np.s_[7::8]).mean()
