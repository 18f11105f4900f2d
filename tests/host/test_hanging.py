"""The optics answer says where a camera hangs, or which limit forbids it, with sources and cautions."""

from dataclasses import replace

import pytest

from swapbell_host.trade.answer import Answer
from swapbell_host.trade.hanging import Wanted, answer

# An invented lane.
WANTED = Wanted(
    camera="imx219",
    focal=None,
    f_number=None,
    nearest=None,
    lane_width="40 mm",
    lane_length=None,
    lane_height="12 mm",
    speed="0.1 m/s",
    body_length="10 mm",
    body_width="4 mm",
    exposure=None,
    tilt="0",
)


def values(told: Answer) -> dict[str, object]:
    """Return the bare values by their keys."""
    return {each.key: each.value for each in told.figures}


def words(told: Answer, key: str) -> str:
    """Return how one figure is said."""
    (found,) = (each.words for each in told.figures if each.key == key)
    return found


def test_what_fits_says_from_where_to_where() -> None:
    # Nearest: 100 mm published, and half of the lane's height. Farthest, by arithmetic: 40 px of 2.24 um on 10 mm.
    told = answer(WANTED)
    assert values(told)["span"] == (106.0, 342.0)
    assert words(told, "span") == "106 to 342 mm from lens to lane"
    assert told.warnings == ()


def test_distance_mode_rate_and_exposure_are_told() -> None:
    told = answer(WANTED)
    assert words(told, "distance") == "116 mm from lens to lane"
    assert words(told, "mode") == "640x480 at 206.65 per second, the insects' way along the image's height"
    # 4 frames in 40 mm at 100 mm/s; a frame of 1/206.65 s.
    assert words(told, "fps_min") == "at least 10 per second (4 frames in view)"
    assert words(told, "exposure_max") == "at most 4.84 ms"


def test_the_other_modes_are_told_as_well() -> None:
    assert [each.words.partition(":")[0] for each in answer(WANTED).figures if each.key.startswith("other_")] == [
        "1640x1232 at 41.85 per second",
        "1920x1080 at 47.57 per second",
    ]


def test_what_does_not_fit_says_which_limits_bind_and_by_how_much() -> None:
    told = answer(replace(WANTED, camera="ov5647"))
    assert values(told)["span"] is None
    assert told.warnings == (
        "ov5647 does not fit: nearest focus: 797 mm, needed are 1000 mm (80%)",
        "ov5647 does not fit: body length: 31.9 px, needed are 40 px (80%)",
    )
    assert words(told, "remedies").endswith("; or nearest focus: a lens that is sharp from 634 mm on")
    assert words(told, "sharp") == "from 1000 mm to infinity"


def test_what_is_only_enough_together_is_told_with_and() -> None:
    told = answer(replace(WANTED, speed="2.5 m/s", exposure="4 ms", lane_length="20 mm"))
    assert "; and " in words(told, "remedies")
    assert "; or " not in words(told, "remedies")


def test_a_lens_may_be_screwed_on() -> None:
    told = answer(replace(WANTED, camera="imx296", focal="6 mm", f_number="1.2", nearest="20 cm"))
    assert words(told, "camera") == "imx296, 6 mm at f/1.2, sharp from 200 mm"
    assert told.warnings == ()


def test_a_camera_of_ones_own_needs_its_lens() -> None:
    own = replace(WANTED, camera="1280x800 at 120 fps of 3 um")
    assert answer(replace(own, focal="6 mm", f_number="2", nearest="100 mm")).warnings == ()
    with pytest.raises(ValueError, match=r"^camera 1280x800 at 120 fps of 3 um comes without a lens"):
        answer(own)


def test_a_lean_is_taken_into_account() -> None:
    assert values(answer(replace(WANTED, tilt="30")))["span"] != values(answer(WANTED))["span"]


def test_a_part_of_a_lens_is_no_lens() -> None:
    with pytest.raises(ValueError, match=r"^--focal, --f-number and --nearest describe a lens together"):
        answer(replace(WANTED, focal="6 mm"))


def test_cautions_name_calibration_length_and_stings() -> None:
    told = " ".join(answer(WANTED).cautions)
    assert all(word in told for word in ("calibrate", "honey bee", "protective clothing"))


def test_every_figure_names_its_source() -> None:
    assert all(
        each.source for camera in ("imx219", "ov5647") for each in answer(replace(WANTED, camera=camera)).figures
    )


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"camera": "imx999"}, r"camera must be one of ov5647, .*, not 'imx999'"),
        ({"camera": "imx296"}, r"camera imx296 comes without a lens"),
        ({"lane_width": "40"}, r"--lane-width '40' has no unit: say mm, cm, m"),
        ({"lane_length": "-4 cm"}, r"--lane-length must be .*, not '-4 cm'"),
        ({"lane_height": "nan mm"}, r"--lane-height must be .*, not 'nan mm'"),
        ({"speed": "3 knots"}, r"--speed must be .* in mm/s, cm/s, m/s, not '3 knots'"),
        ({"body_length": "inf mm"}, r"--body-length must be .*, not 'inf mm'"),
        ({"body_width": "0 mm"}, r"--body-width must be a number above 0, .*, not '0 mm'"),
        ({"body_width": "40 mm"}, r"body_width_mm 40 must not be above the body's length, 10 mm: no insect is wider"),
        ({"exposure": "4"}, r"--exposure '4' has no unit: say us, ms, s"),
        ({"tilt": "60"}, r"--tilt must be from 0 to 45 degrees, not 60\.0"),
        ({"tilt": "steep"}, r"--tilt must be a plain number with a point for decimals, not 'steep'"),
        ({"focal": "6", "f_number": "2", "nearest": "1 m"}, r"--focal '6' has no unit: say mm, cm, m"),
        ({"focal": "6 mm", "f_number": "nan", "nearest": "1 m"}, r"--f-number must be a number above 0, not nan"),
        ({"focal": "6 mm", "f_number": "2", "nearest": "near"}, r"--nearest must be .*, not 'near'"),
        (
            {"focal": "2 m", "f_number": "2", "nearest": "3 m"},
            r"distances_mm must reach beyond the focal length of 2000",
        ),
    ],
)
def test_what_cannot_be_used_is_named_and_quoted(changed: dict[str, str], told: str) -> None:
    with pytest.raises(ValueError, match=f"^{told}"):
        answer(replace(WANTED, **changed))
