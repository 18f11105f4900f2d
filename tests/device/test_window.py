import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from swapbell_device.seeing.shape import LENGTH_PER_SIGMA, Shape
from swapbell_device.seeing.window import MASK_MM_PER_PX, Window
from swapbell_device.stationfile import parse_station


def window(mm_per_px: float, size: tuple[int, int] = (640, 480)) -> Window:
    text = f"[view]\nmm_per_px = {mm_per_px}\n[gate]\nline_px = [[200, 240], [440, 240]]\ninside_px = [320, 400]\n"
    return Window(parse_station(text, "drawn"), size)


@pytest.mark.parametrize("mm_per_px", [0.03, 0.1, 0.17, 0.2, 0.25, 0.42])
def test_the_mask_is_as_coarse_as_a_body_allows(mm_per_px: float) -> None:
    assert MASK_MM_PER_PX / 2.0 <= window(mm_per_px).mm_per_px <= MASK_MM_PER_PX


def test_a_coarse_view_is_taken_as_it_is() -> None:
    assert window(1.5).mm_per_px == 1.5


@pytest.mark.parametrize("mm_per_px", [0.05, 0.1, 0.17, 0.42])
def test_a_spot_in_the_mask_lies_where_it_lies_in_the_frame(mm_per_px: float) -> None:
    view = window(mm_per_px)
    frame = np.zeros((480, 640), np.uint8)
    frame[240 - 8 : 240 + 8, 320 - 8 : 320 + 8] = 255
    thin = view.thin(view.cut(frame)).astype(float)
    rows, columns = np.indices(thin.shape)
    x, y = float((columns * thin).sum() / thin.sum()), float((rows * thin).sum() / thin.sum())
    laid = view.lay(Shape(x, y, 4.0, 2.0, 0.0, 6.0))
    assert (laid.x, laid.y) == pytest.approx((319.5 * mm_per_px, 239.5 * mm_per_px), abs=0.05 * view.step * mm_per_px)


def test_far_from_the_gate_nothing_is_worked_on() -> None:
    assert window(0.42, (1920, 1080)).size[0] < 0.3 * 1920


def test_bright_and_dark_bands_do_not_cancel() -> None:
    view = window(0.17)
    difference = np.abs(np.tile(np.array([40.0, -40.0]), (100, 100))).astype(np.uint8)
    assert view.thin(difference).min() == 40


@pytest.mark.parametrize("mm_per_px", [0.05, 0.1, 0.17, 0.42])
def test_a_cut_for_now_is_the_same_as_one_to_keep(mm_per_px: float) -> None:
    view = window(mm_per_px)
    frame = np.random.default_rng(1).integers(0, 256, (480, 640), np.uint8)
    assert np.array_equal(view.cut_for_now(frame), view.cut(frame))


@pytest.mark.parametrize("mm_per_px", [0.1, 0.42])
def test_a_cut_for_now_holds_for_two_more_frames(mm_per_px: float) -> None:
    view = window(mm_per_px)
    frames = [np.full((480, 640), grey, np.uint8) for grey in (10, 20, 30)]
    cuts = [view.cut_for_now(frame) for frame in frames]
    assert [int(cut.max()) for cut in cuts] == [10, 20, 30]


CORNERS_PX = np.array([(0.0, 0.0), (640.0, 0.0), (640.0, 480.0), (0.0, 480.0)])


def angled(askew_mm: list[tuple[float, float]]) -> Window:
    """Return the window of a board whose four corners are askew from where a square view has them."""
    plane_mm = (0.13 * CORNERS_PX + np.array(askew_mm)).tolist()
    view = f"[view]\nplane_px = {CORNERS_PX.tolist()}\nplane_mm = {plane_mm}\n"
    gate = "[gate]\nline_px = [[200, 240], [440, 240]]\ninside_px = [320, 400]\n"
    return Window(parse_station(view + gate, "drawn"), (640, 480))


def ellipse(spread: NDArray[np.float64], centre: NDArray[np.float64]) -> Shape:
    """Return the shape with these second moments."""
    (least, most), axes = np.linalg.eigh(spread)
    long, wide = LENGTH_PER_SIGMA * math.sqrt(most), LENGTH_PER_SIGMA * math.sqrt(least)
    angle = math.atan2(axes[1, 1], axes[0, 1])
    return Shape(float(centre[0]), float(centre[1]), long, wide, angle, math.pi / 4.0 * long * wide)


askew = st.floats(-8.0, 8.0)


@given(
    st.lists(st.tuples(askew, askew), min_size=4, max_size=4),
    st.tuples(st.floats(170.0, 470.0), st.floats(130.0, 350.0)),
    st.floats(0.0, math.pi),
)
def test_an_angled_view_gives_true_lengths_and_directions(
    askew_mm: list[tuple[float, float]], spot_px: tuple[float, float], angle: float
) -> None:
    view = angled(askew_mm)
    to_board = cv2.getPerspectiveTransform(
        CORNERS_PX.astype(np.float32), (0.13 * CORNERS_PX + np.array(askew_mm)).astype(np.float32)
    )
    centre = cv2.perspectiveTransform(np.array([[spot_px]]), to_board)[0, 0]
    turns = np.linspace(0.0, 2.0 * math.pi, 60, endpoint=False)
    axes = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    rim = centre + np.stack((6.0 * np.cos(turns), 2.0 * np.sin(turns)), axis=1) @ axes
    rim_px = cv2.perspectiveTransform(rim[None], np.linalg.inv(to_board))[0]
    rim_mask = (rim_px - 0.5 * (view.step - 1)) / view.step
    # The second moments of a disc are half of those of its rim; a body's length is 12 mm at `LENGTH_PER_SIGMA` = 4.
    laid = view.lay(ellipse(np.cov(rim_mask.T, bias=True) / 2.0, rim_mask.mean(axis=0)))
    assert (laid.x, laid.y) == pytest.approx(tuple(centre), abs=0.3)
    assert (laid.long, laid.wide) == pytest.approx((3.0 * LENGTH_PER_SIGMA, LENGTH_PER_SIGMA), rel=0.04)
    assert abs(math.sin(laid.angle - angle)) < 0.04
