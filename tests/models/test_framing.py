"""The solver finds where a camera can hang, or says which limit forbids it and what would satisfy it."""

import math
from dataclasses import replace
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swapbell_models.viewing.cameras import CAMERAS, Camera, Mode, camera
from swapbell_models.viewing.framing import DISTANCES_MM, ROOM, Framing, framing, framings
from swapbell_models.viewing.lane import Lane, Limit, Margin
from swapbell_models.viewing.lens import Lens
from swapbell_models.viewing.remedy import remedies, rounded, shortfall
from swapbell_models.viewing.view import Side, View, view

# An invented lane: 10 mm is the shortest worker (Museums Victoria); the rest is demo data.
LANE = Lane(width_mm=40.0, speed_mm_per_s=100.0, body_length_mm=10.0, body_width_mm=4.0, depth_mm=12.0)
IMX219 = camera("imx219")
# An invented camera whose arithmetic is easy: 10 um and 10 mm give 0.001 mm/px for each mm beyond the focal length.
PLAIN = Camera("plain", 10.0, (Mode(600, 400, 50.0, 600),), Lens(10.0, 4.0), 60.0, is_fixed=False, source="invented")
lanes = st.builds(
    Lane,
    st.floats(5.0, 120.0),
    st.floats(10.0, 3000.0),
    st.floats(6.0, 25.0),
    st.floats(2.0, 6.0),
    st.floats(5.0, 40.0),
    st.none() | st.floats(20.0, 200.0),
    st.none() | st.floats(0.0001, 0.02),
    st.floats(0.0, 45.0),
)
COARSE = [20.0 * 1.2**n for n in range(22)]


def seen(lane: Lane = LANE, distance_mm: float = 110.0, side: Side = Side.HEIGHT) -> View:
    """Return what the plain camera sees."""
    return view(PLAIN, PLAIN.modes[0], lane, side, distance_mm)


def margin(limit: Limit, of: View) -> Margin:
    """Return one limit of a view."""
    (found,) = (each for each in of.margins if each.limit is limit)
    return found


def plain(lane: Lane) -> Framing:
    """Return the framing of the plain camera."""
    return framing(PLAIN, PLAIN.modes[0], lane)


def test_the_margins_of_a_view_by_arithmetic() -> None:
    # 100 mm beyond the focal length: 0.1 mm/px, 60 mm across, 40 mm along.
    of = seen(replace(LANE, exposure_s=0.01))
    assert of.aim.mm_per_px == pytest.approx(0.1)
    assert margin(Limit.BODY, of).has == pytest.approx(100.0)
    assert margin(Limit.FIELD, of).has == pytest.approx(60.0)
    assert margin(Limit.FRAMES, of).has == pytest.approx(20.0)  # 40 mm at 100 mm/s and 50 per second
    assert margin(Limit.SMEAR, of).has == pytest.approx(1.0)  # 100 mm/s for 10 ms
    assert margin(Limit.SMEAR, of).needs == pytest.approx(4.0 / 3)  # a third of the body's width
    assert margin(Limit.FOCUS, of).has == pytest.approx(104.0)  # half the lane's height nearer


def test_the_limits_are_those_that_the_trade_asks_for() -> None:
    needs = {each.limit: each.needs for each in seen().margins}
    assert needs == {Limit.BODY: 40.0, Limit.FRAMES: 4.0, Limit.FIELD: 40.0, Limit.FOCUS: 60.0, Limit.DEPTH: 12.0}


def test_what_is_sharp_blurs_a_body_by_no_more_than_a_twentieth_of_its_length() -> None:
    near, far = Lens(10.0, 4.0).sharp(110.0, 0.5 / 10.0)  # half a millimetre of ten, drawn at a tenth
    assert margin(Limit.DEPTH, seen()).has == pytest.approx(far - near)


def test_a_margin_of_smear_is_turned_round() -> None:
    assert Margin(Limit.SMEAR, 2.0, 1.0, "mm").ratio == 0.5
    assert Margin(Limit.BODY, 20.0, 40.0, "px").ratio == 0.5


def test_the_way_may_lie_along_either_side() -> None:
    assert (seen(side=Side.HEIGHT).along_mm, seen(side=Side.HEIGHT).across_mm) == pytest.approx((40.0, 60.0))
    assert (seen(side=Side.WIDTH).along_mm, seen(side=Side.WIDTH).across_mm) == pytest.approx((60.0, 40.0))


def test_a_short_lane_hides_the_rest_of_the_way() -> None:
    assert seen(replace(LANE, length_mm=25.0)).along_mm == 25.0
    assert seen(replace(LANE, length_mm=250.0)).along_mm == pytest.approx(40.0)


def test_an_exposure_longer_than_a_frame_slows_the_camera() -> None:
    assert seen(replace(LANE, exposure_s=0.04)).fps == pytest.approx(25.0)
    assert seen(replace(LANE, exposure_s=0.01)).fps == 50.0


def test_the_longest_exposure_neither_smears_nor_outlasts_a_frame() -> None:
    assert seen().exposure_max_s == pytest.approx(4.0 / 300)
    assert seen(replace(LANE, speed_mm_per_s=1.0)).exposure_max_s == pytest.approx(0.02)


def test_the_fewest_frames_per_second_see_a_body_four_times() -> None:
    assert seen().fps_min == pytest.approx(10.0)  # 4 frames in 40 mm at 100 mm/s


def test_frames_may_be_scaled_down_until_a_body_is_40_px_long() -> None:
    assert seen().stream_px == (240, 160)  # a body of 100 px


def test_frames_are_never_scaled_up() -> None:
    assert seen(distance_mm=1000.0).stream_px == (600, 400)


def test_a_leaning_camera_needs_more_depth_and_sees_bodies_shorter() -> None:
    leaning = seen(replace(LANE, tilt_deg=30.0))
    # By arithmetic: 12 mm x cos 30 + 2 x 10 mm x sin 30; 100 px x cos 30.
    assert leaning.deep_mm == pytest.approx(20.3923)
    assert leaning.body_px == pytest.approx(86.6025)
    assert leaning.across_mm == pytest.approx(0.06 * 100.0 * (110 - 5) / 11)


def test_a_leaning_camera_counts_no_farther_off_than_it_hangs() -> None:
    wide = CAMERAS[3]
    assert wide.name == "imx708_wide"
    leaning = view(wide, wide.modes[1], replace(LANE, tilt_deg=45.0), Side.WIDTH, 100.0)
    assert leaning.aim.reach_mm(2304)[1] == math.inf
    assert leaning.along_mm == pytest.approx(leaning.aim.reach_mm(2304)[0] + 100.0)


def test_the_span_ends_where_a_limit_does() -> None:
    # The plain camera's field holds 40 mm across from 76.7 mm on (600 px), a body is 40 px long up to 260 mm.
    assert plain(LANE).span_mm == (77.0, 260.0)


def test_the_best_distance_is_the_nearest_with_a_tenth_of_room() -> None:
    best = plain(LANE).best
    assert best.aim.distance_mm == 84.0  # 44 mm across: 73.3 mm beyond the focal length
    assert best.margins[0].ratio >= ROOM


def test_a_camera_may_hang_from_a_centimetre_to_a_metre_and_a_half_off() -> None:
    assert (DISTANCES_MM[0], DISTANCES_MM[-1], len(DISTANCES_MM)) == (10.0, 1500.0, 1491)


def test_a_limit_that_is_just_met_does_not_bind() -> None:
    just = seen(replace(LANE, width_mm=seen().across_mm))
    assert margin(Limit.FIELD, just).ratio == 1.0
    assert Framing(just, None, {}).binding == ()


def test_too_fast_a_flight_is_told_by_its_frames() -> None:
    found = plain(replace(LANE, speed_mm_per_s=3000.0))
    assert not found.fits
    assert set(found.alone) == {Limit.FRAMES, Limit.BODY}
    # 2.5 frames in 150 mm, where a body is just 40 px long.
    assert found.alone[Limit.FRAMES] == pytest.approx(2.5 / 4)
    assert remedies(found)[0] == (
        "frames in view: 80 frames per second, or insects that walk at no more than 1880 mm/s"
    )


@pytest.mark.parametrize(
    ("changed", "limit"),
    [
        ({"width_mm": 160.0}, Limit.FIELD),
        ({"speed_mm_per_s": 2500.0}, Limit.FRAMES),
        ({"body_length_mm": 2.0, "body_width_mm": 1.0, "width_mm": 10.0, "depth_mm": 1.0}, Limit.BODY),
        ({"exposure_s": 0.019}, Limit.SMEAR),
        ({"depth_mm": 200.0}, Limit.DEPTH),
        ({"body_length_mm": 1.5, "body_width_mm": 1.0, "width_mm": 5.0, "depth_mm": 0.5}, Limit.FOCUS),
    ],
)
def test_each_limit_can_bind(changed: dict[str, float], limit: Limit) -> None:
    found = plain(replace(LANE, **changed))
    assert not found.fits
    assert limit in found.alone
    assert any(each.startswith(limit.value) for each in remedies(found))


def satisfied(found: Framing, limit: Limit) -> Framing:
    """Return the framing after the remedy of one limit, a hair beyond what it says."""
    best, ratio = found.best, found.alone[limit] * (1 - 1e-6)
    lane, mode, made = best.lane, best.mode, best.camera
    assert made.nearest_mm is not None
    match limit:
        case Limit.FRAMES:
            lane = replace(lane, speed_mm_per_s=lane.speed_mm_per_s * ratio)
        case Limit.SMEAR:
            lane = replace(lane, exposure_s=lane.exposure_max_s * (1 - 1e-6))
        case Limit.FIELD:
            lane = replace(lane, width_mm=lane.width_mm * ratio)
        case Limit.FOCUS:
            made = replace(made, nearest_mm=made.nearest_mm * ratio)
        case Limit.BODY:
            width_px, height_px = (math.ceil(px / ratio) for px in (mode.width_px, mode.height_px))
            mode = replace(mode, width_px=width_px, height_px=height_px)
        case Limit.DEPTH:
            lane = replace(lane, depth_mm=lane.depth_mm * ratio)
    return framing(made, mode, lane, COARSE)


@settings(max_examples=25, deadline=None)
@given(lanes)
def test_what_is_named_as_a_remedy_is_one(lane: Lane) -> None:
    for made in (PLAIN, IMX219):
        found = framing(made, made.modes[0], lane, COARSE)
        for limit in set(found.alone) - {Limit.DEPTH} if lane.tilt_deg else found.alone:
            # A slower body may also be exposed for longer; a camera with more pixels has others beside the crop.
            assert satisfied(found, limit).best.margins[0].ratio >= 0.99


@settings(max_examples=25, deadline=None)
@given(lanes)
def test_what_fits_holds_every_limit_and_what_does_not_says_why(lane: Lane) -> None:
    for found in framings(IMX219, lane, COARSE):
        assert found.fits == (found.best.margins[0].ratio >= 1.0) == (not found.binding)
        assert found.fits == (not remedies(found))
        assert list(found.best.margins) == sorted(found.best.margins, key=lambda each: each.ratio)


@settings(max_examples=25, deadline=None)
@given(lanes)
def test_distances_that_fit_are_one_span(lane: Lane) -> None:
    for side in Side:
        holds = [view(PLAIN, PLAIN.modes[0], lane, side, each).margins[0].ratio >= 1.0 for each in COARSE]
        assert [key for key, _ in groupby(holds)].count(True) <= 1


@settings(max_examples=25, deadline=None)
@given(lanes, st.floats(1.0, 3.0))
def test_a_slower_insect_never_fits_less(lane: Lane, times: float) -> None:
    slower = replace(lane, speed_mm_per_s=lane.speed_mm_per_s / times)
    assert framing(PLAIN, PLAIN.modes[0], slower, COARSE).fits >= framing(PLAIN, PLAIN.modes[0], lane, COARSE).fits


def test_modes_that_fit_come_first_and_the_smallest_of_them_before_the_rest() -> None:
    found = framings(IMX219, replace(LANE, width_mm=150.0))
    assert [each.fits for each in found] == sorted((each.fits for each in found), reverse=True)
    sizes = [each.best.mode.width_px * each.best.mode.height_px for each in found if each.fits]
    assert sizes == sorted(sizes)


def test_the_nearest_miss_comes_before_the_farther_ones() -> None:
    found = framings(camera("ov5647"), LANE)
    assert not any(each.fits for each in found)
    ratios = [each.best.margins[0].ratio for each in found]
    assert ratios == sorted(ratios, reverse=True)


def test_a_lens_that_is_fixed_afar_is_told_by_its_focus() -> None:
    # The published depth of field of ov5647 begins at about 1 m.
    (nearest_miss, *_) = framings(camera("ov5647"), LANE)
    assert {each.limit for each in nearest_miss.binding} == {Limit.FOCUS, Limit.BODY}
    assert Limit.DEPTH not in {each.limit for each in nearest_miss.best.margins}
    assert nearest_miss.best.sharp_mm == (1000.0, math.inf)


def test_a_shortfall_is_told_with_its_numbers() -> None:
    assert shortfall(Margin(Limit.BODY, 20.0, 40.0, "px")) == "body length: 20 px, needed are 40 px (50%)"
    assert shortfall(Margin(Limit.SMEAR, 3.0, 1.5, "mm")) == ("smear: 3 mm, allowed are 1.5 mm (2 times too much)")


def test_where_no_single_change_is_enough_all_are_told() -> None:
    # A short lane and a long exposure: both fail wherever the camera hangs.
    found = plain(replace(LANE, speed_mm_per_s=1000.0, length_mm=40.0, exposure_s=0.01))
    assert found.alone == {}
    assert {each.limit for each in found.binding} == {Limit.FRAMES, Limit.SMEAR}
    assert remedies(found) == (
        "smear: an exposure of at most 1.33 ms, with more light",
        "frames in view: 100 frames per second, or insects that walk at no more than 500 mm/s",
    )


def test_a_limit_that_fails_everywhere_does_not_move_the_camera() -> None:
    lost = plain(replace(LANE, exposure_s=0.019))
    assert lost.best.aim.distance_mm == plain(LANE).best.aim.distance_mm


def test_numbers_are_rounded_to_three_digits_without_powers_of_ten() -> None:
    assert [rounded(each) for each in (1000.0, 1876.5, 0.012345, 40.0)] == ["1000", "1880", "0.0123", "40"]


def test_a_camera_without_a_lens_asks_for_one() -> None:
    bare = camera("imx296")
    with pytest.raises(ValueError, match=r"^camera imx296 comes without a lens: say its focal length"):
        framings(bare, LANE)
    assert framings(bare.behind(Lens(6.0, 1.2), 200.0), LANE)[0].fits


def test_a_framing_needs_a_distance_beyond_the_focal_length() -> None:
    with pytest.raises(ValueError, match=r"^distances_mm must reach beyond the focal length of 10 mm$"):
        framings(PLAIN, LANE, [5.0, 10.0])


@pytest.mark.parametrize(
    "name", ["width_mm", "speed_mm_per_s", "body_length_mm", "body_width_mm", "depth_mm", "length_mm", "exposure_s"]
)
@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_lane_is_refused(name: str, wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^{name} must be a number above 0 \S+, not {wrong}$"):
        replace(LANE, **{name: wrong})


def test_a_lane_does_not_lean_beyond_half_a_right_angle() -> None:
    with pytest.raises(ValueError, match=r"^tilt_deg must be from 0 to 45 degrees, not 46"):
        replace(LANE, tilt_deg=46.0)
