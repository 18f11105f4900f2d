from dataclasses import replace

import pytest

from swapbell_device.following import cast
from swapbell_device.following.track import SURE, Blob, Track


def follow(x_mm: float, vx_mm_per_s: float, contrast: float, solid: float, area_mm2: float = 40.0) -> Track:
    """Return a track that goes along x."""
    track = Track.of(1, Blob(x_mm, 10.0, 12.0, area_mm2, contrast=contrast), 0.0)
    track.vx_mm_per_s, track.solid = vx_mm_per_s, solid
    return track


BODY, SHADOW = follow(50.0, 40.0, 100.0, 0.6), follow(60.0, 40.0, 90.0, 0.95)
FLYER, FLYERS_SHADOW = follow(50.0, 800.0, 60.0, 0.6), follow(75.0, 800.0, 40.0, 0.6)


def told(one: Track, other: Track, times: int) -> tuple[bool, bool]:
    """Tell which of two walkers are shadows after so many frames."""
    pair = replace(one), replace(other)
    for _ in range(times):
        cast.tell(pair)
    return pair[0].cast >= SURE, pair[1].cast >= SURE


def told_flying(one: Track, other: Track, times: int) -> tuple[bool, bool]:
    """Tell which of two flyers are shadows after so many frames."""
    pair = replace(one), replace(other)
    for _ in range(times):
        cast.tell_flying(pair)
    return pair[0].cast >= SURE, pair[1].cast >= SURE


def test_what_goes_beside_a_body_evenly_dark_is_its_shadow() -> None:
    assert told(BODY, SHADOW, 4) == (False, True)


def test_three_sightings_do_not_make_a_shadow() -> None:
    assert told(BODY, SHADOW, 3) == (False, False)


def test_two_bodies_alike_are_no_shadows_of_one_another() -> None:
    assert told(BODY, follow(60.0, 40.0, 100.0, 0.6), 20) == (False, False)


@pytest.mark.parametrize(
    "other",
    [
        follow(60.0, -40.0, 90.0, 0.95),
        follow(80.0, 40.0, 90.0, 0.95),
        follow(60.0, 40.0, 130.0, 0.95),
        follow(60.0, 40.0, 90.0, 0.95, area_mm2=120.0),
    ],
    ids=["goes the other way", "is far away", "is darker", "is much larger"],
)
def test_an_even_body_is_no_shadow_if_it(other: Track) -> None:
    assert told(BODY, other, 20) == (False, False)


def test_a_shadow_that_leaves_its_body_is_a_body_again() -> None:
    body, shadow = replace(BODY), replace(SHADOW)
    for _ in range(8):
        cast.tell([body, shadow])
    for _ in range(8):
        cast.tell([shadow])
    assert shadow.cast < SURE


def test_a_flyers_shadow_is_told_within_three_frames() -> None:
    assert told_flying(FLYER, FLYERS_SHADOW, 3) == (False, True)


@pytest.mark.parametrize(
    "other",
    [follow(75.0, 800.0, 55.0, 0.6), follow(75.0, 400.0, 40.0, 0.6), follow(95.0, 800.0, 40.0, 0.6)],
    ids=["as strong", "slower", "further away"],
)
def test_of_two_flyers_neither_is_a_shadow_if_one_is(other: Track) -> None:
    assert told_flying(FLYER, other, 10) == (False, False)


def test_what_walks_is_no_flyers_shadow() -> None:
    assert told_flying(follow(50.0, 140.0, 60.0, 0.6), follow(75.0, 140.0, 40.0, 0.6), 10) == (False, False)
