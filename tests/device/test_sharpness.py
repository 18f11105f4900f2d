"""How sharply the camera sees, told by the edges in its view."""

from itertools import islice

import cv2
import numpy as np
import pytest
from board_views import BoardView
from clips import board
from hypothesis import given, settings
from hypothesis import strategies as st

from swapbell_device.calibrating.card import card
from swapbell_device.camera import Luma
from swapbell_device.drawing.conditions import CONDITIONS, draw
from swapbell_device.sharpness import WIDE, sharpness
from swapbell_models.focus import BLURRED_BELOW, SHARP_MIN, WORKER_WIDTH_MM, Focus, focus

SCALE = 0.2
NOISE = 1.5


def steps(blur_px: float, contrast: float = 60.0, noise: float = NOISE, seed: int = 1) -> Luma:
    """Return stripes as wide as three workers, blurred by this standard deviation, with noise."""
    wide = round(3.0 * WORKER_WIDTH_MM / SCALE)
    across = (np.arange(640) // wide % 2 * contrast + 100.0)[None].repeat(480, 0)
    soft = cv2.GaussianBlur(across, (0, 0), blur_px)
    return np.asarray((soft + np.random.default_rng(seed).normal(0.0, noise, soft.shape)).round(), np.uint8)


@pytest.mark.parametrize("blur_px", [2.0, 3.0, 5.0, 8.0, 10.0])
def test_the_blur_of_plain_edges_is_told_within_a_quarter(blur_px: float) -> None:
    found = sharpness(steps(blur_px), NOISE, SCALE)
    assert found == pytest.approx(WORKER_WIDTH_MM / SCALE / (WIDE * blur_px), rel=0.25)


@given(contrast=st.floats(30.0, 120.0), noise=st.floats(0.5, 3.0), seed=st.integers(1, 10**6))
@settings(max_examples=15, deadline=None)
def test_neither_contrast_nor_noise_changes_what_is_told(contrast: float, noise: float, seed: int) -> None:
    found = sharpness(steps(3.0, contrast, noise, seed), noise, SCALE)
    assert found == pytest.approx(WORKER_WIDTH_MM / SCALE / (WIDE * 3.0), rel=0.25)


@pytest.mark.parametrize("noise", [0.0, 1.5, 8.0])
@pytest.mark.parametrize("level", [0, 90, 200])
def test_of_a_view_without_an_edge_nobody_can_tell(level: int, noise: float) -> None:
    view = np.random.default_rng(1).normal(level, noise, (480, 640)).clip(0, 255).astype(np.uint8)
    assert sharpness(view, noise, SCALE) is None


@pytest.mark.parametrize("size", [(480, 640), (16, 16), (3, 640), (480, 5)])
@pytest.mark.parametrize("scale", [0.001, 0.2, 0.7, 5.0])
def test_any_view_and_any_scale_is_borne(size: tuple[int, int], scale: float) -> None:
    view = np.random.default_rng(1).integers(0, 256, size).astype(np.uint8)
    found = sharpness(view, 0.0, scale)
    assert found is None or found > 0.0


def test_a_worker_of_a_few_pixels_is_too_small_to_tell_by() -> None:
    assert sharpness(steps(1.0), NOISE, WORKER_WIDTH_MM / 5.0) is None


@pytest.mark.parametrize("condition", CONDITIONS)
def test_no_drawn_condition_is_called_out_of_focus(condition: str) -> None:
    scene = draw(condition, 1)
    view = next(islice(scene.frames(), 1, None)).image
    found = sharpness(view, 2.0, scene.station.view.mm_per_px(*scene.station.gate.start_px))
    assert found is None or found > 1.2 * BLURRED_BELOW


@pytest.mark.parametrize(("blur_px", "expected"), [(0.8, Focus.SHARP), (4.5, Focus.SOFT), (12.0, Focus.BLURRED)])
def test_a_card_before_the_camera_shows_how_well_it_is_focused(blur_px: float, expected: Focus) -> None:
    found = sharpness(BoardView(card("opening"), SCALE, blur_px=blur_px).picture(), 2.0, SCALE)
    assert found is not None
    assert focus(found) is expected


def test_the_clips_board_is_sharp() -> None:
    found = sharpness(board(), 1.0, 0.17)
    assert found is None or found >= SHARP_MIN
