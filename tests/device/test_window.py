import numpy as np
import pytest

from swapbell_device.shape import Shape
from swapbell_device.stationfile import parse_station
from swapbell_device.window import MASK_MM_PER_PX, Window


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
