import math
from collections.abc import Callable

import clips
import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from swapbell_device.camera import Frame
from swapbell_device.following.track import Blob
from swapbell_device.following.tracker import Tracker
from swapbell_device.seeing.segment import Segmenter
from swapbell_device.seeing.window import Window
from swapbell_device.stationfile import parse_station
from swapbell_models.fault import Mistake

STATION = parse_station(clips.STATION, "drawn")
Picture = NDArray[np.uint8]


def look(pictures: list[Picture], opening: int = 20) -> list[list[Blob]]:
    """Return the blobs of each picture, twenty pictures a second; those before where it shows nothing new."""
    frames = [Frame(picture, i / clips.PER_S) for i, picture in enumerate(pictures)]
    segmenter = Segmenter(Window(STATION, clips.SIZE), frames[:opening])
    found: list[list[Blob]] = []
    for frame in frames:
        blobs = segmenter.blobs(frame)
        found.append(found[-1] if blobs is None else blobs)
    return found


def noisy(pictures: list[Picture], sigma: float) -> list[Picture]:
    rng = np.random.default_rng(5)
    return [np.clip(p + rng.normal(0.0, sigma, p.shape), 0, 255).astype(np.uint8) for p in pictures]


def lit(pictures: list[Picture], light: Callable[[int], float]) -> list[Picture]:
    return [np.clip(p * light(i), 0, 255).astype(np.uint8) for i, p in enumerate(pictures)]


WALK = clips.pictures([[None] * 20 + clips.walk((40.0, 120.0), (280.0, 120.0), 60)])
EMPTY = clips.pictures([[None] * 80])


def test_an_empty_board_shows_nothing() -> None:
    assert not any(look(EMPTY))


def test_noise_shows_nothing() -> None:
    assert not any(look(noisy(EMPTY, 12.0)))


@pytest.mark.parametrize("sigma", [0.0, 3.0, 10.0])
def test_a_body_is_one_blob_where_it_is(sigma: float) -> None:
    found = look(noisy(WALK, sigma))
    for i in (i for i in range(25, 75) if found[i] is not found[i - 1]):
        (blob,) = found[i]
        x = 40.0 + 240.0 * (i - 20) / 59.0
        assert (blob.x_mm, blob.y_mm) == pytest.approx((0.34 * x, 0.34 * 120.0), abs=0.7)


def test_its_length_is_right_within_a_millimetre() -> None:
    lengths = [blob.length_mm for blobs in look(WALK)[30:70] for blob in blobs if blob.measured]
    assert float(np.median(lengths)) == pytest.approx(13.0, abs=1.0)


def test_bright_bodies_are_seen_like_dark_ones() -> None:
    found = look([255 - picture for picture in WALK])
    assert all(len(blobs) == 1 for blobs in found[25:75])


def test_a_body_in_view_from_the_start_leaves_no_ghost() -> None:
    way = [(100.0, 120.0)] * 30 + clips.walk((100.0, 120.0), (280.0, 120.0), 50)
    found = look(clips.pictures([way]), opening=30)
    assert all(sum(blob.area_mm2 > 10.0 for blob in blobs) == 1 for blobs in found[-15:])


def test_a_cloud_shows_nothing() -> None:
    assert not any(look(lit(EMPTY, lambda i: 1.0 - 0.3 * (1.0 - math.cos(i / 6.0)) / 2.0)))


def test_a_body_is_seen_under_a_cloud() -> None:
    found = look(lit(WALK, lambda i: 1.0 - 0.3 * (1.0 - math.cos(i / 10.0)) / 2.0))
    assert sum(len(blobs) == 1 for blobs in found[25:75]) >= 48


def test_a_body_that_rests_stays_seen() -> None:
    way = [None] * 20 + clips.walk((40.0, 120.0), (160.0, 120.0), 30) + [(160.0, 120.0)] * 1200
    assert all(len(blobs) == 1 for blobs in look(clips.pictures([way]))[30:])


def test_nothing_is_seen_while_a_hand_is_there_and_all_soon_after() -> None:
    pictures = [
        picture.copy() for picture in clips.pictures([[None] * 100 + clips.walk((40.0, 120.0), (280.0, 120.0), 60)])
    ]
    for picture in pictures[40:60]:
        picture[:, 40:240] = 90
    found = look(pictures)
    assert not any(found[40:80])
    assert all(len(blobs) == 1 for blobs in found[110:150])


def test_a_hand_is_said_to_cover_the_view_as_long_as_it_does() -> None:
    pictures = [picture.copy() for picture in clips.pictures([[None] * 120])]
    for picture in pictures[40:60]:
        picture[:, 40:240] = 90
    frames = [Frame(picture, i / clips.PER_S) for i, picture in enumerate(pictures)]
    segmenter = Segmenter(Window(STATION, clips.SIZE), frames[:20])
    told = [(segmenter.blobs(frame), segmenter.covered)[1] for frame in frames]
    assert not any(told[:40])
    assert all(told[40:60])
    assert not any(told[90:])


def test_a_hand_late_in_the_opening_hides_nothing_before_it() -> None:
    pictures = [picture.copy() for picture in clips.pictures([[None] * 60])]
    for picture in pictures[34:40]:
        picture[:, 40:240] = 90
    frames = [Frame(picture, i / clips.PER_S) for i, picture in enumerate(pictures)]
    segmenter = Segmenter(Window(STATION, clips.SIZE), frames[:40])
    told = [(segmenter.blobs(frame), segmenter.covered)[1] for frame in frames]
    assert not any(told[:34])
    assert all(told[34:40])


def test_a_moved_bait_is_the_new_background() -> None:
    pictures = [
        picture.copy() for picture in clips.pictures([[None] * 120 + clips.walk((40.0, 190.0), (280.0, 190.0), 60)])
    ]
    for i, picture in enumerate(pictures):
        if 40 <= i < 60:
            picture[:, 40:240] = 90
        elif i >= 60:
            picture[40:100, 60:220] = 110
    assert all(len(blobs) == 1 for blobs in look(pictures)[130:170])


size = st.tuples(st.integers(64, 400), st.integers(48, 300))


@settings(max_examples=25, deadline=None)
@given(size, st.floats(0.02, 2.0), st.tuples(*[st.floats(0.05, 0.95)] * 6), st.integers(0, 2**32 - 1))
def test_any_picture_and_any_gate_go_through(
    size: tuple[int, int], scale: float, spots: tuple[float, ...], seed: int
) -> None:
    width, height = size
    x1, y1, x2, y2, x, y = (spot * side for spot, side in zip(spots, size * 3, strict=True))
    gate = f"[gate]\nline_px = [[{x1}, {y1}], [{x2}, {y2}]]\ninside_px = [{x}, {y}]\n"
    rng = np.random.default_rng(seed)
    frames = [Frame(rng.integers(0, 256, (height, width), np.uint8), 0.1 * i) for i in range(12)]
    try:
        station = parse_station(f"[view]\nmm_per_px = {scale}\n{gate}", "drawn")
    except Mistake:  # a gate that no station can have
        reject()
    window = Window(station, size)
    segmenter, tracker = Segmenter(window, frames[:3]), Tracker()
    for frame in frames:
        blobs = segmenter.blobs(frame) or []
        assert all(math.isfinite(blob.x_mm + blob.y_mm + blob.length_mm) and blob.area_mm2 > 0.0 for blob in blobs)
        tracker.step(blobs, frame.at_s)
