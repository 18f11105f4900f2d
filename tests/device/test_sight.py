"""What a look measures, on views of known light, noise, shift and change."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.camera import Frame, Luma
from swapbell_device.drawing.by_traffic import walk
from swapbell_device.drawing.lens import Shake
from swapbell_device.drawing.stage import Stage
from swapbell_device.following.track import Blob, Track
from swapbell_device.look import Look
from swapbell_device.main import watch
from swapbell_device.sight import LOOK_S, PAIR_S, Lookout

MM_PER_PX = 0.2
SIZE = (480, 640)


def textured(seed: int = 1, light: float = 120.0, contrast: float = 12.0) -> Luma:
    """Return a board whose grain is some ten pixels wide."""
    grain = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal(SIZE), (0, 0), 6.0)
    return np.clip(light + contrast * (grain - grain.mean()) / grain.std(), 0, 255).astype(np.uint8)


def noisy(image: Luma, sigma: float, seed: int) -> Luma:
    noise = np.random.default_rng(seed).normal(0.0, sigma, image.shape)
    return np.clip(np.rint(image + noise), 0, 255).astype(np.uint8)


def shifted(image: Luma, x: float, y: float) -> Luma:
    matrix = np.array(((1.0, 0.0, x), (0.0, 1.0, y)))
    return np.asarray(cv2.warpAffine(image, matrix, image.shape[::-1], borderMode=cv2.BORDER_REPLICATE), np.uint8)


def walker(area_mm2: float) -> Track:
    """Return a body that has been followed for long enough to be believed."""
    track = Track.of(1, Blob(0.0, 0.0, 13.0, area_mm2, width_mm=4.0, solid=1.0), 0.0)
    for step in range(1, 30):
        track.meet(Blob(float(step), 0.0, 13.0, area_mm2, width_mm=4.0, solid=1.0), step / 30.0)
    assert track.believable
    return track


def compared(before: Luma, after: Luma, tracks: Sequence[Track] = ()) -> Look:
    lookout = Lookout(lambda image: image, MM_PER_PX)
    assert lookout.look(Frame(before, 0.0), tracks) is None
    look = lookout.look(Frame(after, PAIR_S), tracks)
    assert look is not None
    return look


def test_looks_come_at_their_pace_however_fast_the_frames() -> None:
    lookout, image = Lookout(lambda image: image, MM_PER_PX), textured()
    looks = [look for k in range(360) if (look := lookout.look(Frame(image, k / 30.0), ()))]
    assert len(looks) == math.ceil(12.0 / LOOK_S)


def test_two_frames_far_apart_are_not_compared() -> None:
    lookout, image = Lookout(lambda image: image, MM_PER_PX), textured()
    assert [lookout.look(Frame(image, float(k)), ()) for k in range(5)] == [None] * 5


def test_a_still_view_neither_moves_nor_shakes() -> None:
    look = compared(textured(), textured())
    assert (look.noise, look.shake_mm, look.moving) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("light", [30.0, 120.0, 200.0])
def test_light_is_the_mean_grey_level(light: float) -> None:
    assert compared(textured(), textured(light=light)).light == pytest.approx(light, abs=1.0)


@pytest.mark.parametrize("sigma", [1.0, 3.0, 10.0, 25.0])
def test_noise_is_the_standard_deviation_of_a_pixel(sigma: float) -> None:
    look = compared(noisy(textured(), sigma, 2), noisy(textured(), sigma, 3))
    assert look.noise == pytest.approx(sigma, rel=0.1)
    assert look.moving < 0.01
    assert look.shake_mm < 0.1


@pytest.mark.parametrize(("x", "y"), [(1.0, 0.0), (-3.0, 2.0), (5.0, -4.0), (0.0, 9.0)])
def test_a_shift_is_measured_within_half_a_pixel(x: float, y: float) -> None:
    look = compared(noisy(textured(), 2.0, 2), noisy(shifted(textured(), x, y), 2.0, 3))
    assert look.shake_mm == pytest.approx(math.hypot(x, y) * MM_PER_PX, abs=0.5 * MM_PER_PX)


def test_a_view_that_shakes_does_not_move_besides() -> None:
    look = compared(textured(), shifted(textured(), 8.0, -6.0))
    assert look.shake_mm > 1.5
    assert look.moving < 0.05


def test_a_passing_cloud_neither_moves_nor_shakes() -> None:
    look = compared(textured(light=160.0), (0.75 * textured(light=160.0)).astype(np.uint8))
    assert look.moving < 0.02
    assert look.shake_mm < 0.1


def test_a_body_that_walks_is_no_shake() -> None:
    before, after = textured(contrast=1.0), textured(contrast=1.0)
    cv2.ellipse(before, (300, 200), (32, 10), 30.0, 0.0, 360.0, 20.0, -1)
    cv2.ellipse(after, (330, 215), (32, 10), 30.0, 0.0, 360.0, 20.0, -1)
    assert compared(noisy(before, 1.5, 2), noisy(after, 1.5, 3)).shake_mm < 0.15


def test_what_changes_counts_by_its_share_of_the_view() -> None:
    after = textured()
    after[:, :320] = textured(seed=9)[:, :320]
    assert compared(textured(), after).moving == pytest.approx(0.5, abs=0.15)


def test_bodies_that_are_followed_do_not_count_as_the_view() -> None:
    before, after = textured(contrast=1.0), textured(contrast=1.0)
    cv2.ellipse(after, (300, 200), (32, 10), 0.0, 0.0, 360.0, 20.0, -1)
    body_mm2 = math.pi * 32 * 10 * MM_PER_PX**2
    assert compared(before, after).moving > 0.002
    assert compared(before, after, [walker(body_mm2)]).moving == 0.0


def test_a_covered_lens_shows_no_detail_and_noise_is_none() -> None:
    flat = np.full(SIZE, 90, np.uint8)
    assert compared(noisy(flat, 2.0, 2), noisy(flat, 2.0, 3)).detail < 0.1
    assert compared(noisy(textured(), 2.0, 2), noisy(textured(), 2.0, 3)).detail > 4.0


@given(
    st.sampled_from([(48, 64), (61, 97), (240, 320), (1080, 1920), (700, 90)]),
    st.integers(0, 2**32),
    st.sampled_from(["flat", "noise", "black", "white"]),
)
def test_no_view_makes_a_look_fail(size: tuple[int, int], seed: int, kind: str) -> None:
    rng = np.random.default_rng(seed)
    value = {"flat": 90, "black": 0, "white": 255, "noise": 0}[kind]
    before, after = (
        rng.integers(0, 256, size, np.uint8) if kind == "noise" else np.full(size, value, np.uint8) for _ in range(2)
    )
    look = compared(before, after)
    figures = (look.light, look.detail, look.noise, look.shake_mm, look.moving)
    assert all(math.isfinite(figure) and figure >= 0.0 for figure in figures)
    assert look.moving <= 1.0


def test_a_drawn_camera_s_swing_is_measured() -> None:
    stage = Stage(3, seconds=23.0, size=(640, 480), fps=25.0, bright=False)
    walk(stage, 20.0)
    shake = Shake(5.0, 1.3, 0.5)
    scene = stage.scene([shake])
    looks = [moment.look for moment in watch(scene, scene.station) if moment.look]
    for look in looks:
        before, then = shake.shift_px(look.at_s - PAIR_S), shake.shift_px(look.at_s)
        assert look.shake_mm == pytest.approx(math.dist(before, then) * stage.mm_per_px, abs=1.5 * stage.mm_per_px)
    assert len(looks) == 3


@pytest.mark.parametrize("shape", [(1, 1), (48, 1), (2, 640), (5, 5), (480, 4)])
def test_a_view_that_is_a_mere_streak_is_not_looked_at(shape: tuple[int, int]) -> None:
    lookout = Lookout(lambda image: image, 0.17)
    picture = np.full(shape, 100, np.uint8)
    assert [lookout.look(Frame(picture, number / 10.0), ()) for number in range(30)] == [None] * 30
