from collections.abc import Iterable, Sequence

import clips
import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.shower import Shower
from swapbell_device.seeing.window import Window
from swapbell_device.stationfile import parse_station

STEP_S = 1.0 / 30.0
BOARD = np.full((240, 320), 180, np.uint8)
WINDOW = Window(parse_station(clips.STATION, "drawn"), clips.SIZE)
BAR = np.full(WINDOW.size[::-1], 10, np.uint8)
NOTHING = np.zeros_like(BAR)


def drawn(body: tuple[float, float] | None = None, wide_px: float = 6.0) -> Luma:
    """Return a board with or without a body of 13 mm that lies along x."""
    picture = BOARD.copy()
    if body is not None:
        spot = round(body[0] * 16), round(body[1] * 16)
        cv2.ellipse(picture, spot, (19 * 16, round(wide_px * 16)), 0, 0, 360, 60, -1, cv2.LINE_AA, 4)
    return picture


def rained_on(pictures: Iterable[Luma]) -> list[Luma]:
    """Return pictures with seven streaks in each, which stand elsewhere in the next three."""
    wet = [picture.copy() for picture in pictures]
    for i, picture in enumerate(wet):
        for x in range(15 + 10 * (i % 4), 320, 45):
            cv2.line(picture, (x, 20), (x + 2, 60), 250, 1)
    return wet


def cleared(
    shower: Shower, pictures: Sequence[Luma], step_s: float = STEP_S, stays: Luma = NOTHING
) -> list[tuple[Luma, bool]]:
    """Return what is made of each picture, and whether it rains then."""
    return [(shower.clear(one, BAR, stays, i * step_s), shower.falls) for i, one in enumerate(pictures)]


def in_rain() -> Shower:
    shower = Shower(WINDOW)
    shower.begin(rained_on([BOARD] * 12), BAR)
    return shower


def dark(picture: Luma) -> Luma:
    return np.where(picture < 120, np.uint8(255), np.uint8(0))


def where(picture: Luma) -> tuple[float, float, float]:
    """Return a body's centre and area in a picture [px]."""
    body = cv2.moments(dark(picture), binaryImage=True)
    return body["m10"] / body["m00"], body["m01"] / body["m00"], body["m00"]


def test_rain_is_known_from_the_opening() -> None:
    assert in_rain().falls


def test_rain_that_sets_in_is_known_within_a_second() -> None:
    assert cleared(Shower(WINDOW), rained_on([BOARD] * 30))[-1][1]


def test_streaks_that_stand_in_one_frame_are_cleared_while_it_rains() -> None:
    assert all(np.array_equal(shown, BOARD) for shown, _ in cleared(in_rain(), rained_on([BOARD] * 12))[2:])


def test_a_walking_body_keeps_its_shape_and_place_in_rain() -> None:
    walk = [drawn((60.0 + 4.0 * i, 150.0)) for i in range(30)]
    for late, (shown, _) in zip(walk[1:-1], cleared(in_rain(), rained_on(walk))[2:], strict=True):
        (x, y, area), (x0, y0, area0) = where(shown), where(late)
        assert abs(x - x0) < 0.5
        assert abs(y - y0) < 0.5
        assert 0.95 < area / area0 < 1.05


def test_without_rain_a_frame_is_left_as_it_is() -> None:
    walk = [drawn((60.0 + 4.0 * i, 150.0)) for i in range(12)]
    assert all(shown is given for (shown, _), given in zip(cleared(Shower(WINDOW), walk), walk, strict=True))


def test_wasps_that_fly_by_are_no_rain() -> None:
    ways = [(20.0 + 95.0 * (i % 4), 120.0 - 40.0 * (i % 3)) for i in range(60)]
    flight = [np.minimum(drawn((x, y)), drawn((320.0 - x, 240.0 - y))) for x, y in ways]
    assert not any(falls for _, falls in cleared(Shower(WINDOW), flight))


def test_a_slender_insect_that_flies_by_is_no_rain() -> None:
    flight = [drawn()] * 3 + [drawn((20.0 + 95.0 * i, 120.5), wide_px=0.5) for i in range(4)] + [drawn()] * 20
    assert not any(falls for _, falls in cleared(Shower(WINDOW), flight))


def legs_that_swing() -> list[Luma]:
    walk = [drawn((160.0, 120.0)) for _ in range(60)]
    for i, picture in enumerate(walk):
        for x in range(145 + 4 * (i % 3), 180, 12):
            cv2.line(picture, (x, 114), (x, 101), 60, 1)
            cv2.line(picture, (x, 126), (x, 139), 60, 1)
    return walk


def test_legs_that_swing_beside_a_body_are_no_rain() -> None:
    height, width = BAR.shape
    stays = cv2.resize(dark(drawn((160.0, 120.0))), (width, height))
    assert not any(
        falls for _, falls in cleared(Shower(WINDOW), legs_that_swing(), stays=np.asarray(stays, np.uint8))
    )


def test_what_swings_so_where_no_body_is_would_be_rain() -> None:
    assert cleared(Shower(WINDOW), legs_that_swing())[-1][1]


def test_a_shower_ends_when_it_ends() -> None:
    shown = cleared(in_rain(), [*rained_on([BOARD] * 30), *[BOARD] * 120])
    assert shown[29][1]
    assert not shown[-1][1]


def test_frames_far_apart_are_left_as_they_are() -> None:
    wet = rained_on([BOARD] * 12)
    assert all(shown is given for (shown, _), given in zip(cleared(in_rain(), wet, step_s=0.1), wet, strict=True))
