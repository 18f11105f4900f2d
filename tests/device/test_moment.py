from collections.abc import Iterator

import numpy as np

from swapbell_device.camera import Frame
from swapbell_device.moment import OPENING_BYTES, opened


def frames(count: int, per_s: float, size: tuple[int, int] = (40, 30)) -> Iterator[Frame]:
    return (Frame(np.zeros(size[::-1], np.uint8), i / per_s) for i in range(count))


def test_the_opening_is_two_seconds_long() -> None:
    opening, _ = opened(frames(200, 20.0))
    assert [opening[0].at_s, opening[-1].at_s] == [0.0, 2.0]


def test_every_frame_still_comes_once_and_in_order() -> None:
    _, following = opened(frames(200, 20.0))
    assert [frame.at_s for frame in following] == [i / 20.0 for i in range(200)]


def test_forgetting_the_opening_loses_no_frame() -> None:
    opening, following = opened(frames(50, 20.0))
    opening.clear()
    assert len(list(following)) == 50


def test_a_large_picture_shortens_the_opening() -> None:
    opening, _ = opened(frames(60, 60.0, (1920, 1080)))
    assert sum(frame.image.nbytes for frame in opening) < OPENING_BYTES + 1920 * 1080


def test_a_clip_shorter_than_an_opening_is_all_opening() -> None:
    opening, following = opened(frames(5, 20.0))
    assert len(opening) == len(list(following)) == 5
