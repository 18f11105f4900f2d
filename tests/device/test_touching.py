import math

import cv2
import numpy as np
import pytest

from swapbell_device.seeing.shape import Pieces, cores
from swapbell_device.seeing.touching import Patch, Usual, apart, in_step

MM_PER_PX, LEAST_PX = 0.5, 6.0
# A body of 13 x 4 mm, and what it looks like behind a little blur.
LONG_PX, WIDE_PX = 26.0, 8.0
USUAL = Usual(250.0, 26.0, 10.0)
Part = tuple[float, float, float, float, float]


def body(x: float, y: float, strength: float = 100.0) -> Part:
    """Return a body that lies along x."""
    return x, y, LONG_PX, WIDE_PX, strength


def seen(parts: list[Part], angle: float = 0.0) -> tuple[Pieces, Patch]:
    """Return parts [px, px, px, px, grey levels], turned together by an angle [degrees], as one outline."""
    difference = np.zeros((120, 120), np.float32)
    for x, y, long, wide, strength in parts:
        one = np.zeros_like(difference)
        spot, axes = (round(16 * x), round(16 * y)), (round(8 * long), round(8 * wide))
        cv2.ellipse(one, spot, axes, 0, 0, 360, strength, -1, cv2.LINE_AA, 4)
        difference = np.maximum(difference, one)
    turned = cv2.warpAffine(difference, cv2.getRotationMatrix2D((60, 60), angle, 1.0), (120, 120))
    blurred = np.asarray(cv2.GaussianBlur(turned, (0, 0), 1.0), np.uint8)
    blurred[blurred < 10] = 0
    patch = Patch(blurred, float(blurred.max()), (0, 0))
    (pieces,) = cores(patch.difference, 0.15 * patch.peak, LEAST_PX, MM_PER_PX, patch.corner)
    return pieces, patch


def parted(parts: list[Part], angle: float = 0.0) -> list[Pieces]:
    pieces, patch = seen(parts, angle)
    return apart(pieces, patch, LEAST_PX, MM_PER_PX)


def stepping(parts: list[Part], angle: float = 0.0, usual: Usual = USUAL) -> list[Pieces]:
    pieces, patch = seen(parts, angle)
    return in_step(pieces.shape, patch, usual, MM_PER_PX)


BESIDE = [body(60.0, 56.0), body(60.0, 64.0)]
BEHIND = [body(47.5, 60.0), body(72.5, 60.0)]
SHADOWED = [body(60.0, 56.0), body(60.0, 64.0, 60.0)]
WINGED = [body(60.0, 60.0), (60.0, 53.0, 20.0, 10.0, 40.0), (60.0, 67.0, 20.0, 10.0, 40.0)]
# A broad moth: dim wings, a body hardly brighter, bright wing tips.
MOTH = [
    (60.0, 60.0, 30.0, 44.0, 40.0),
    (60.0, 60.0, 26.0, 6.0, 50.0),
    (60.0, 42.0, 6.0, 6.0, 100.0),
    (60.0, 78.0, 6.0, 6.0, 100.0),
]


@pytest.mark.parametrize("parts", [[body(46.0, 60.0), body(74.0, 60.0)], [body(60.0, 54.5), body(60.0, 65.5)]])
def test_bodies_that_hardly_touch_come_apart_where_they_do(parts: list[Part]) -> None:
    middles = sorted((one.shape.x, one.shape.y) for one in parted(parts))
    assert np.allclose(middles, [part[:2] for part in parts], atol=1.0)


def test_parts_of_a_whole_are_no_single_body() -> None:
    assert [one.single for one in parted([body(46.0, 60.0), body(74.0, 60.0)])] == [False, False]


def test_a_single_body_stays_one() -> None:
    assert len(parted([body(60.0, 60.0)])) == 1
    assert not stepping([body(60.0, 60.0)])


def test_a_moths_bright_wing_tips_are_no_bodies() -> None:
    assert len(parted(MOTH)) == 1


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_two_side_by_side_are_two_bodies_as_long_and_half_as_wide(angle: float) -> None:
    whole, _ = seen(BESIDE, angle)
    one, other = stepping(BESIDE, angle)
    assert one.shape.long == other.shape.long == whole.shape.long
    assert one.shape.wide == other.shape.wide == whole.shape.wide / 2
    assert math.dist((one.shape.x, one.shape.y), (other.shape.x, other.shape.y)) == pytest.approx(8.0, abs=1.5)


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
def test_two_nose_to_tail_are_two_bodies_as_wide_and_half_as_long(angle: float) -> None:
    whole, _ = seen(BEHIND, angle)
    one, other = stepping(BEHIND, angle)
    assert one.shape.long == other.shape.long == whole.shape.long / 2
    assert math.dist((one.shape.x, one.shape.y), (other.shape.x, other.shape.y)) == pytest.approx(25.0, abs=2.0)


def test_three_nose_to_tail_are_three() -> None:
    assert len(stepping([body(35.0, 60.0), body(60.0, 60.0), body(85.0, 60.0)])) == 3


def test_a_body_and_a_weaker_one_beside_it_stay_one() -> None:
    assert not stepping(SHADOWED)


def test_a_body_with_its_wings_spread_stays_one() -> None:
    assert not stepping(WINGED)


def test_while_no_usual_body_is_known_none_comes_apart_by_its_size() -> None:
    assert not stepping(BESIDE, usual=Usual())


def test_what_is_larger_both_ways_is_a_larger_insect() -> None:
    assert not stepping([(60.0, 60.0, 46.0, 14.5, 100.0)])
