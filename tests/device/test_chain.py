"""Whatever a camera may show, the way of a frame neither breaks nor says anything that is no number."""

import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from swapbell_device.camera import Clip, Frame
from swapbell_device.main import watch
from swapbell_device.moment import Moment
from swapbell_device.stationfile import GateLine, StationFile, parse_station
from swapbell_models.fault import Mistake
from swapbell_models.optics import Square

Picture = NDArray[np.uint8]
Size = tuple[int, int]
Rng = np.random.Generator

# A view of full size is drawn and watched for fewer frames, so that every example takes about as long.
PIXELS, FRAMES_MIN, FRAMES_MAX = 3_000_000, 4, 120
# The usual number of examples is for tests of numbers; a picture takes a hundred times longer, a clip still longer.
few = settings(max_examples=max(1, settings().max_examples // 2))
fewer = settings(max_examples=max(1, settings().max_examples // 6))


def _noise(rng: Rng, picture: Picture, i: int) -> None:
    picture[:] = rng.integers(0, 256, picture.shape, np.uint8)


def _grain(rng: Rng, picture: Picture, i: int) -> None:
    picture[:] = np.clip(picture + rng.normal(0.0, 1.0 + i % 9, picture.shape), 0, 255)


def _nothing(rng: Rng, picture: Picture, i: int) -> None:
    """Leave the board as it is."""


def _black(rng: Rng, picture: Picture, i: int) -> None:
    picture[:] = 0


def _flicker(rng: Rng, picture: Picture, i: int) -> None:
    picture[:] = 255 * (i % 2)


def _boxes(rng: Rng, picture: Picture, i: int) -> None:
    height, width = picture.shape
    for box in range(1 + i % 5):
        x, y = (17 * box + (3 + 2 * box) * i) % width, (31 * box + 5 * i) % height
        picture[y : y + 3 + 9 * box, x : x + 4 + 14 * box] = (40 * box) % 256


def _walkers(rng: Rng, picture: Picture, i: int) -> None:
    height, width = picture.shape
    for body in range(3):
        centre = width * (i % 30) // 30, height * (1 + body) // 4
        cv2.ellipse(picture, centre, (width // 16 + 1, width // 48 + 1), 20.0 * body, 0, 360, 30, -1)


def _burnt(rng: Rng, picture: Picture, i: int) -> None:
    picture[:, : picture.shape[1] // 2] = 255
    _walkers(rng, picture, i)


def _jump(rng: Rng, picture: Picture, i: int) -> None:
    picture[:] = np.roll(picture, (7 * i, 11 * i), (0, 1))


CONTENTS = (_noise, _grain, _nothing, _black, _flicker, _boxes, _walkers, _burnt, _jump)
Content = Callable[[Rng, Picture, int], None]


@dataclass(frozen=True)
class Film:
    """A camera that shows one content after the other, each for as long as it lasts."""

    size: Size
    contents: tuple[Content, ...]
    steps_s: tuple[float, ...]
    seed: int

    @property
    def pictures(self) -> Iterator[Picture]:
        width, height = self.size
        rng = np.random.default_rng(self.seed)
        board = np.asarray(rng.integers(100, 180, (height // 8 + 1, width // 8 + 1), np.uint8))
        board = np.asarray(cv2.resize(board, self.size), np.uint8)
        count = min(FRAMES_MAX, max(FRAMES_MIN, PIXELS // (width * height)))
        for i in range(count):
            picture = board.copy()
            self.contents[i * len(self.contents) // count](rng, picture, i)
            yield picture

    def frames(self) -> Iterator[Frame]:
        steps = (self.steps_s[i % len(self.steps_s)] for i in range(FRAMES_MAX))
        for picture, at_s in zip(self.pictures, accumulate(steps), strict=False):
            yield Frame(picture, at_s - self.steps_s[0])


small = st.tuples(st.integers(64, 320), st.integers(48, 240))
sizes = st.tuples(st.integers(64, 1920), st.integers(48, 1080)) | small
contents = st.lists(st.sampled_from(CONTENTS), min_size=1, max_size=4).map(tuple)
# A steady rate, dropped frames, and times as close and as far apart as a clock may tell them.
steps = st.lists(st.sampled_from([1 / 30, 1 / 90, 0.2]) | st.floats(1e-4, 1e4), min_size=1, max_size=9).map(tuple)
steady = st.sampled_from([(1 / 30,), (1 / 90,), (1 / 30, 1 / 30, 0.2)])
seeds = st.integers(0, 2**32 - 1)
films = st.builds(Film, sizes, contents, steady | steps, seeds)
# From a macro lens to a camera on a mast; half of them such that a walker is as long as an insect.
exponents = st.floats(-2.0, math.log10(5.0)) | st.floats(-1.0, 0.0)
scales = st.sampled_from([0.01, 5.0]) | exponents.map(lambda exponent: 10.0**exponent)
shares = st.tuples(*[st.floats(0.0, 1.0)] * 6)


def station(size: Size, scale: float, spots: tuple[float, ...]) -> StationFile:
    """Return a station whose gate lies anywhere in the image."""
    x1, y1, x2, y2, x, y = (spot * side for spot, side in zip(spots, size * 3, strict=True))
    return usable(f"mm_per_px = {scale}", f"line_px = [[{x1}, {y1}], [{x2}, {y2}]]\ninside_px = [{x}, {y}]")


def usable(view: str, gate: str) -> StationFile:
    try:
        return parse_station(f"[view]\n{view}\n[gate]\n{gate}\n", "fuzz")
    except Mistake:  # a gate or a view that no station can have
        assume(False)
        raise


def numbers(moment: Moment) -> Iterator[float]:
    """Yield all numbers that a moment tells of, and fail where a place or a size is none."""
    for thing in (*moment.blobs, *moment.tracks):
        assert math.isfinite(thing.x_mm + thing.y_mm)
        assert 0.0 < thing.length_mm < math.inf
        values = (getattr(thing, name) for name in type(thing).__match_args__)
        yield from (value for value in values if isinstance(value, float))
    for crossing in moment.crossings:
        assert crossing.length_mm > 0.0
        yield from (crossing.at_s, crossing.length_mm)


def check(moments: Iterator[Moment]) -> int:
    """Hold every moment to be sane, and return how many there are."""
    seen = 0
    for moment in moments:
        assert not any(map(math.isnan, numbers(moment)))
        assert all(0.0 <= crossing.at_s <= moment.frame.at_s for crossing in moment.crossings)
        seen += 1
    return seen


@few
@given(films, scales, shares)
def test_any_picture_any_gate_and_any_scale_go_through(film: Film, scale: float, spots: tuple[float, ...]) -> None:
    seen = check(watch(film, station(film.size, scale, spots)))
    assert seen == sum(1 for _ in film.frames())


@few
@given(films, st.tuples(*[st.floats(-0.4, 0.4)] * 8), shares)
def test_any_angle_goes_through(film: Film, bent: tuple[float, ...], spots: tuple[float, ...]) -> None:
    width, height = film.size
    board = [(0.0, 0.0), (80.0, 0.0), (80.0, 60.0), (0.0, 60.0)]
    seen = [
        ((x / 80.0 + bent[2 * i]) * width, (y / 60.0 + bent[2 * i + 1]) * height) for i, (x, y) in enumerate(board)
    ]
    x1, y1, x2, y2, x, y = (spot * side for spot, side in zip(spots, film.size * 3, strict=True))
    view = f"plane_px = {[list(point) for point in seen]}\nplane_mm = {[list(point) for point in board]}"
    check(watch(film, usable(view, f"line_px = [[{x1}, {y1}], [{x2}, {y2}]]\ninside_px = [{x}, {y}]")))


@given(sizes, st.floats(0.001, 1e5), st.sampled_from([-1, 1]), st.integers(0, 3), scales)
def test_a_gate_outside_of_the_image_is_refused(size: Size, out: float, sign: int, which: int, scale: float) -> None:
    ends = [0.5 * side for side in size] * 2
    ends[which] = -out if sign < 0 else size[which % 2] + out
    gate = GateLine((ends[0], ends[1]), (ends[2], ends[3]), (0.0, 0.0))
    with pytest.raises(Mistake, match="outside the image"):
        next(watch(Film(size, (_nothing,), (0.1,), 0), StationFile(Square(scale), gate)))


def _coloured(picture: Picture, colour: bool) -> Picture:
    return np.dstack([picture, picture[::-1], 255 - picture]) if colour else picture


@fewer
@given(
    st.builds(Film, small, contents, steady, seeds),
    st.sampled_from([("MJPG", ".avi"), ("FFV1", ".avi"), ("FFV1", ".mkv"), ("mp4v", ".mp4"), ("mp4v", ".mov")]),
    st.booleans(),
    scales,
    shares,
)
def test_any_clip_in_grey_or_colour_goes_through(
    film: Film, kind: tuple[str, str], colour: bool, scale: float, spots: tuple[float, ...]
) -> None:
    codec, ending = kind
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"clip{ending}"
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*codec), 30.0, film.size, isColor=colour)
        assert writer.isOpened()
        for picture in film.pictures:
            writer.write(_coloured(picture, colour))
        writer.release()
        clip = Clip(path)
        assert all(frame.image.dtype == np.uint8 and frame.image.ndim == 2 for frame in clip.frames())
        assert check(watch(clip, station(clip.size, scale, spots))) > 0  # a codec may want even sides
