import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.following.track import Blob
from swapbell_device.following.tracker import Tracker
from swapbell_models.optics import Point

STEP_S = 1.0 / 30.0


def body(x_mm: float, y_mm: float, length_mm: float = 12.0, area_mm2: float = 40.0) -> Blob:
    """Return a blob that lies along x."""
    return Blob(x_mm, y_mm, length_mm, area_mm2, width_mm=area_mm2 / length_mm)


def follow(frames: list[list[Blob]], step_s: float = STEP_S) -> list[dict[int, Point]]:
    tracker = Tracker()
    return [
        {track.number: (track.x_mm, track.y_mm) for track in tracker.step(blobs, i * step_s)}
        for i, blobs in enumerate(frames)
    ]


def test_a_walker_keeps_its_name() -> None:
    seen = follow([[body(i, 10.0)] for i in range(40)])
    assert {name for names in seen for name in names} == {1}


def test_two_that_pass_each_other_apart_keep_their_names() -> None:
    seen = follow([[body(i, 10.0), body(60.0 - i, 22.0)] for i in range(60)])
    assert seen[-1][1][0] > 50.0
    assert seen[-1][2][0] < 10.0


def test_two_that_merge_while_passing_keep_their_names() -> None:
    frames: list[list[Blob]] = []
    for i in range(60):
        left, right = body(float(i), 10.0), body(60.0 - i, 16.0)
        if abs(left.x_mm - right.x_mm) > 12.0:
            frames.append([left, right])
        else:
            frames.append([Blob(30.0, 13.0, 16.0, 75.0, width_mm=10.0)])
    seen = follow(frames)
    assert set(seen[-1]) == {1, 2}
    assert seen[-1][1][0] > 50.0


def test_a_gap_of_a_third_of_a_second_is_bridged() -> None:
    seen = follow([[] if 20 <= i < 30 else [body(float(i), 10.0)] for i in range(50)])
    assert set(seen[-1]) == {1}


def test_a_gap_of_two_seconds_is_another_body() -> None:
    seen = follow([[] if 20 <= i < 80 else [body(float(i), 10.0)] for i in range(100)])
    assert set(seen[-1]) == {2}


def test_a_flyer_at_a_metre_a_second_is_followed_from_its_second_frame() -> None:
    seen = follow([[body(33.0 * i, 10.0)] for i in range(4)])
    assert set(seen[-1]) == {1}


def test_a_leg_beside_a_body_is_not_followed() -> None:
    seen = follow([[body(float(i), 10.0), Blob(i + 3.0, 14.0, 3.0, 2.0)] for i in range(20)])
    assert set(seen[-1]) == {1}


def test_uneven_frames_are_followed_too() -> None:
    tracker, names = Tracker(), set[int]()
    for at_s in (0.0, 0.02, 0.2, 0.23, 0.5, 0.51, 0.8):
        names |= {track.number for track in tracker.step([body(40.0 * at_s, 10.0)], at_s)}
    assert names == {1}


def test_the_length_is_the_median_of_what_was_seen() -> None:
    tracker = Tracker()
    for i, length_mm in enumerate((12.0, 13.0, 40.0, 12.5, 12.5)):
        (track,) = tracker.step([body(float(i), 10.0, length_mm)], i * STEP_S)
    assert track.length_mm == 12.5


def pair(one: Blob, other: Blob) -> Blob:
    """Return the blob of two that touch, which may be these."""
    x_mm, y_mm = 0.5 * (one.x_mm + other.x_mm), 0.5 * (one.y_mm + other.y_mm)
    whole = body(x_mm, y_mm, 12.0 + abs(one.x_mm - other.x_mm), 80.0)
    return msgspec.structs.replace(whole, measured=False, parts=(one, other))


def test_a_pair_in_step_comes_apart() -> None:
    seen = follow([[pair(body(i, 10.0), body(i, 14.0))] for i in range(40)])
    assert sorted(seen[-1].values()) == [(39.0, 10.0), (39.0, 14.0)]


def test_a_pair_that_has_met_goes_on_as_its_parts() -> None:
    apart = [[body(i, 10.0), body(i, 18.0 - 0.2 * i)] for i in range(20)]
    seen = follow([*apart, *([pair(body(i, 10.0), body(i, 14.0))] for i in range(20, 40))])
    assert set(seen[-1]) == {1, 2}
    assert seen[-1][2] == (39.0, 14.0)


def test_a_pair_stays_one_blob_where_tracks_say_that_its_parts_are_others() -> None:
    apart = [[body(i, 10.0), body(i, 15.0)] for i in range(20)]
    seen = follow([*apart, *([pair(body(i - 6.0, 12.5), body(i + 6.0, 12.5))] for i in range(20, 40))])
    assert set(seen[-1]) == {1, 2}
    assert seen[-1][1] == pytest.approx((39.0, 10.0), abs=0.5)
    assert seen[-1][2] == pytest.approx((39.0, 15.0), abs=0.5)


spot = st.tuples(st.floats(-100.0, 100.0), st.floats(-100.0, 100.0), st.floats(0.5, 500.0))


@given(st.lists(st.lists(spot, max_size=6), max_size=30))
def test_no_blob_is_two_bodies_and_no_number_is_lost(frames: list[list[tuple[float, float, float]]]) -> None:
    tracker = Tracker()
    for i, spots in enumerate(frames):
        tracks = tracker.step([body(x, y, max(1.0, math.sqrt(area)), area) for x, y, area in spots], i * STEP_S)
        assert len({track.number for track in tracks}) == len(tracks)
        assert all(math.isfinite(track.x_mm + track.y_mm + track.length_mm) for track in tracks)
