"""A lens gives the scale, field and sharpness that textbooks and makers publish, square and leaning."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.optics import angled
from swapbell_models.viewing.lens import TILT_MAX_DEG, Aim, Lens, frames_in_view, smear_mm, view_deg

WRONG = [0.0, -1.0, math.nan, math.inf]
lenses = st.builds(Lens, st.floats(1.0, 50.0), st.floats(1.0, 16.0))


def aims(tilt_max_deg: float = TILT_MAX_DEG) -> st.SearchStrategy[Aim]:
    """Return cameras with lenses of 2 to 16 mm, 60 to 500 mm off."""
    lens = st.builds(Lens, st.floats(2.0, 16.0), st.floats(1.2, 8.0))
    return st.builds(Aim, lens, st.floats(1.0, 6.0), st.floats(60.0, 500.0), st.floats(0.0, tilt_max_deg))


def test_at_twice_the_focal_length_the_image_is_as_large_as_the_thing() -> None:
    # Textbook: s = v = 2 f gives a magnification of 1.
    assert Lens(10.0, 2.0).image_mm(20.0) == pytest.approx(20.0)
    assert Aim(Lens(10.0, 2.0), 5.0, 20.0).mm_per_px == pytest.approx(0.005)


@given(lenses, st.floats(1.01, 1000.0))
def test_image_and_thing_are_conjugate(lens: Lens, times: float) -> None:
    # Textbook: 1/f = 1/s + 1/v.
    focus_mm = lens.focal_mm * times
    assert 1 / focus_mm + 1 / lens.image_mm(focus_mm) == pytest.approx(1 / lens.focal_mm)


def test_a_lens_set_to_infinity_draws_at_its_focal_length() -> None:
    assert Lens(3.6, 2.9).image_mm(math.inf) == 3.6


@pytest.mark.parametrize(
    ("side_mm", "focal_mm", "degrees", "within"),
    [
        # Raspberry Pi documentation, camera hardware specification and recommended lenses; sides by pixels x pitch.
        (2592 * 0.0014, 3.60, 53.50, 0.13),  # ov5647, horizontally
        (1944 * 0.0014, 3.60, 41.41, 0.11),  # ov5647, vertically
        (3280 * 0.00112, 3.04, 62.2, 0.2),  # imx219, horizontally
        (2464 * 0.00112, 3.04, 48.8, 0.1),  # imx219, vertically
        (6.287, 16.0, 22.2, 0.1),  # imx477 behind 16 mm, horizontally
        (4.712, 16.0, 16.7, 0.1),  # the same, vertically
        (1456 * 0.00345, 16.0, 17.8, 0.1),  # imx296 behind 16 mm, horizontally
        (1088 * 0.00345, 16.0, 13.4, 0.1),  # the same, vertically
        (2592 * 0.0014, 4.74, 41.0, 1.0),  # imx708, vertically
        (2592 * 0.0014, 2.75, 67.0, 1.0),  # imx708_wide, vertically
    ],
)
def test_published_angles_of_view(side_mm: float, focal_mm: float, degrees: float, within: float) -> None:
    assert view_deg(side_mm, Lens(focal_mm, 2.0).image_mm(math.inf)) == pytest.approx(degrees, abs=within)


def test_a_published_hyperfocal_distance() -> None:
    # A photographer's page on depth of field: 24 mm at f/16 is hyperfocal at 1.2 m (with 0.03 mm of blur).
    assert Lens(24.0, 16.0).hyperfocal_mm(0.03) == pytest.approx(1200.0, rel=0.025)


@given(lenses, st.floats(0.001, 0.01))
def test_focused_at_the_hyperfocal_distance_all_is_sharp_from_its_half(lens: Lens, confusion_mm: float) -> None:
    # Textbook.
    hyperfocal_mm = lens.hyperfocal_mm(confusion_mm)
    near, far = lens.sharp(hyperfocal_mm, confusion_mm)
    assert near == pytest.approx(hyperfocal_mm / 2, rel=1e-9)
    assert far == math.inf


def test_set_to_infinity_all_is_sharp_from_the_hyperfocal_distance() -> None:
    lens = Lens(3.6, 2.9)
    assert lens.sharp(math.inf, 0.002) == (lens.hyperfocal_mm(0.002) - 3.6, math.inf)


@given(lenses, st.floats(1.5, 100.0), st.floats(0.001, 0.01))
def test_the_blur_at_either_end_of_what_is_sharp_is_the_circle_of_confusion(
    lens: Lens, times: float, confusion_mm: float
) -> None:
    # By another route: the cone of light from the opening, f / N wide, cut by the sensor.
    focus_mm = lens.focal_mm * times
    for end_mm in lens.sharp(focus_mm, confusion_mm):
        sensor_mm, drawn_mm = lens.image_mm(focus_mm), lens.image_mm(end_mm)
        blur_mm = lens.focal_mm / lens.f_number * abs(drawn_mm - sensor_mm) / drawn_mm
        assert math.isinf(end_mm) or blur_mm == pytest.approx(confusion_mm, rel=1e-6)


@given(lenses, st.floats(1.5, 100.0), st.floats(0.001, 0.01))
def test_the_plane_of_focus_is_sharp(lens: Lens, times: float, confusion_mm: float) -> None:
    near, far = lens.sharp(lens.focal_mm * times, confusion_mm)
    assert near < lens.focal_mm * times < far


def test_the_scale_of_a_board_camera_over_a_lane() -> None:
    # By arithmetic: 1.12 um binned by two, 3.04 mm, 120 mm off: 0.00224 x (120 - 3.04) / 3.04.
    assert Aim(Lens(3.04, 2.0), 2.24, 120.0).mm_per_px == pytest.approx(0.0861811, rel=1e-6)


def test_a_lens_that_stays_focused_afar_keeps_its_image_distance() -> None:
    assert Aim(Lens(4.0, 2.0), 2.0, 200.0, focus_mm=math.inf).mm_per_px == pytest.approx(0.1)


@given(aims(), st.floats(100.0, 800.0), st.floats(100.0, 800.0))
def test_a_leaning_camera_sees_the_plane_as_a_homography_says(aim: Aim, across_px: float, along_px: float) -> None:
    # By another route: the four corners, as lens gives them, fix the plane; optics then tells the scale at the axis.
    near_mm, far_mm = aim.reach_mm(along_px)
    if far_mm > 20 * near_mm:
        return
    corners_px = [(x * across_px / 2, y * along_px / 2) for x, y in [(-1, -1), (1, -1), (1, 1), (-1, 1)]]
    ends_mm = [(-near_mm, aim.across_mm(across_px, -near_mm)), (far_mm, aim.across_mm(across_px, far_mm))]
    (y0, wide0), (y1, wide1) = ends_mm
    view = angled(corners_px, [(-wide0 / 2, y0), (wide0 / 2, y0), (wide1 / 2, y1), (-wide1 / 2, y1)])
    assert view.to_mm(0.0, 0.0) == pytest.approx((0.0, 0.0), abs=1e-4 * far_mm)
    area = math.sqrt(aim.mm_per_px * aim.mm_per_px_along)
    assert view.mm_per_px(0.0, 0.0) == pytest.approx(area, rel=1e-4)


@given(aims(tilt_max_deg=0.0), st.floats(1.0, 4000.0))
def test_a_square_camera_sees_as_much_either_way(aim: Aim, side_px: float) -> None:
    near_mm, far_mm = aim.reach_mm(side_px)
    assert near_mm == far_mm
    assert near_mm + far_mm == pytest.approx(aim.across_mm(side_px))
    assert aim.mm_per_px == aim.mm_per_px_along


@pytest.mark.parametrize("side_px", [840.0, 1000.0])  # the horizon is seen from 816 px on: 2 x 2.0408 mm / 5 um
def test_an_image_that_shows_the_horizon_reaches_without_end(side_px: float) -> None:
    near_mm, far_mm = Aim(Lens(2.0, 2.0), 5.0, 100.0, 45.0).reach_mm(side_px)
    assert far_mm == math.inf
    assert near_mm < 100.0


def test_an_image_whose_edge_is_the_horizon_reaches_without_end() -> None:
    # Half of 800 px of 5 um are 2 mm, as far as the lens is off: 45 degrees; a hair more, as its tangent is rounded.
    aim = Aim(Lens(2.0, 2.0), 5.0, 100.0, 45.0, focus_mm=math.inf)
    assert aim.reach_mm(math.nextafter(800.0, 801.0))[1] == math.inf


def test_a_camera_is_square_and_looks_at_its_axis_unless_said() -> None:
    assert Aim(Lens(4.0, 2.0), 2.0, 100.0).tilt_deg == 0.0
    leaning = Aim(Lens(4.0, 2.0), 2.0, 100.0, 30.0)
    assert leaning.across_mm(500.0) == leaning.across_mm(500.0, 0.0) == pytest.approx(500.0 * leaning.mm_per_px)


def test_what_is_sharp_is_said_in_pixels_too() -> None:
    aim = Aim(Lens(4.0, 2.0), 3.0, 200.0)
    assert aim.sharp_mm(2.0) == aim.lens.sharp(200.0, 0.006)


@pytest.mark.parametrize(
    ("speed_mm_per_s", "frames"),
    [
        # A field of 60 mm at 15, 30, 60 and 90 frames per second, by arithmetic; 2.5 m/s is a wasp's flight as
        # bumblebee.org gives it.
        (30.0, (30.0, 60.0, 120.0, 180.0)),
        (100.0, (9.0, 18.0, 36.0, 54.0)),
        (300.0, (3.0, 6.0, 12.0, 18.0)),
        (1000.0, (0.9, 1.8, 3.6, 5.4)),
        (2500.0, (0.36, 0.72, 1.44, 2.16)),
    ],
)
def test_frames_that_an_animal_spends_in_view(speed_mm_per_s: float, frames: tuple[float, ...]) -> None:
    for fps, expected in zip((15.0, 30.0, 60.0, 90.0), frames, strict=True):
        assert frames_in_view(60.0, speed_mm_per_s, fps) == pytest.approx(expected)


def test_a_smear_is_the_way_in_one_exposure() -> None:
    assert smear_mm(1000.0, 0.004) == pytest.approx(4.0)  # by arithmetic


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_no_lens_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^focal_mm must be a number above 0 mm, not {wrong}$"):
        Lens(wrong, 2.0)
    with pytest.raises(ValueError, match=rf"^f_number must be a number above 0, not {wrong}$"):
        Lens(4.0, wrong)
    with pytest.raises(ValueError, match=r"^confusion_mm must be a number above 0 mm"):
        Lens(4.0, 2.0).hyperfocal_mm(wrong)


@pytest.mark.parametrize("wrong", [4.0, 0.0, -1.0, math.nan])
def test_nothing_is_drawn_from_within_the_focal_length(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^focus_mm must be beyond the focal length of 4 mm, not {wrong}$"):
        Lens(4.0, 2.0).image_mm(wrong)


@pytest.mark.parametrize("wrong", WRONG)
def test_what_cannot_be_aimed_is_refused(wrong: float) -> None:
    lens = Lens(4.0, 2.0)
    with pytest.raises(ValueError, match=r"^pixel_um must be a number above 0 um"):
        Aim(lens, wrong, 100.0)
    with pytest.raises(ValueError, match=r"^distance_mm must be a number above 0 mm"):
        Aim(lens, 2.0, wrong)
    for ask in (Aim(lens, 2.0, 100.0).reach_mm, Aim(lens, 2.0, 100.0).across_mm):
        with pytest.raises(ValueError, match=r"^side_px must be a number above 0 px"):
            ask(wrong)


@pytest.mark.parametrize("wrong", [-0.1, 45.1, math.nan])
def test_a_lean_beyond_half_a_right_angle_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^tilt_deg must be from 0 to 45 degrees, not {wrong}$"):
        Aim(Lens(4.0, 2.0), 2.0, 100.0, wrong)


@pytest.mark.parametrize("wrong", WRONG)
def test_a_way_a_speed_and_a_time_are_numbers_above_nothing(wrong: float) -> None:
    for ask in (
        lambda: smear_mm(wrong, 0.01),
        lambda: smear_mm(100.0, wrong),
        lambda: frames_in_view(wrong, 100.0, 30.0),
        lambda: frames_in_view(60.0, wrong, 30.0),
        lambda: frames_in_view(60.0, 100.0, wrong),
        lambda: view_deg(wrong, 4.0),
        lambda: view_deg(4.0, wrong),
    ):
        with pytest.raises(ValueError, match=r"must be a number above 0 "):
            ask()
