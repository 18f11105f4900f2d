"""Camera modules are as their makers publish them, and any of them takes another lens."""

from dataclasses import replace
from typing import Any

import pytest

from swapbell_models.viewing.cameras import CAMERAS, Mode, camera
from swapbell_models.viewing.lens import Lens


# Raspberry Pi documentation, camera hardware specification: pixel size, focal length, focal ratio, nearest sharp.
@pytest.mark.parametrize(
    ("name", "pixel_um", "focal_mm", "f_number", "nearest_mm", "is_fixed"),
    [
        ("ov5647", 1.4, 3.60, 2.9, 1000.0, True),
        ("imx219", 1.12, 3.04, 2.0, 100.0, False),
        ("imx708", 1.4, 4.74, 1.8, 100.0, False),
        ("imx708_wide", 1.4, 2.75, 2.2, 50.0, False),
    ],
)
def test_published_modules(
    name: str, pixel_um: float, focal_mm: float, f_number: float, nearest_mm: float, is_fixed: bool
) -> None:
    found = camera(name)
    assert found.lens == Lens(focal_mm, f_number)
    assert (found.pixel_um, found.nearest_mm, found.is_fixed) == (pixel_um, nearest_mm, is_fixed)


@pytest.mark.parametrize(("name", "pixel_um"), [("imx477", 1.55), ("imx296", 3.45)])  # the same
def test_published_modules_without_a_lens(name: str, pixel_um: float) -> None:
    found = camera(name)
    assert (found.pixel_um, found.lens, found.nearest_mm, found.is_fixed) == (pixel_um, None, None, False)


@pytest.mark.parametrize(
    ("name", "width_px", "height_px", "fps", "crop_px"),
    [
        # Raspberry Pi documentation, the camera list of imx219 and imx477; the others as printed by boards.
        ("imx219", 640, 480, 206.65, 1280),
        ("imx219", 1640, 1232, 41.85, 3280),
        ("imx219", 1920, 1080, 47.57, 1920),
        ("imx477", 1332, 990, 120.05, 2664),
        ("imx477", 2028, 1080, 50.03, 4056),
        ("imx477", 2028, 1520, 40.01, 4056),
        ("imx708", 1536, 864, 120.13, 3072),
        ("imx708", 2304, 1296, 56.03, 4608),
        ("imx708_wide", 1536, 864, 120.13, 3072),
        ("imx708_wide", 2304, 1296, 56.03, 4608),
        ("imx296", 1456, 1088, 60.38, 1456),
        ("ov5647", 640, 480, 58.92, 2560),
        ("ov5647", 1296, 972, 46.34, 2592),
        ("ov5647", 1920, 1080, 32.81, 1928),
    ],
)
def test_published_modes(name: str, width_px: int, height_px: int, fps: float, crop_px: int) -> None:
    assert Mode(width_px, height_px, fps, crop_px) in camera(name).modes


def test_a_binned_mode_has_larger_pixels() -> None:
    assert camera("imx219").pixel_of(camera("imx219").modes[0]) == pytest.approx(2.24)


def test_only_a_fixed_lens_stays_focused_afar() -> None:
    assert [each.name for each in CAMERAS if each.focus_mm is not None] == ["ov5647"]


def test_every_module_names_its_source() -> None:
    assert all(each.source for each in CAMERAS)


def test_another_lens_is_focused_by_hand() -> None:
    found = camera("ov5647").behind(Lens(8.0, 1.8), 150.0)
    assert (found.lens, found.nearest_mm, found.is_fixed) == (Lens(8.0, 1.8), 150.0, False)


def test_an_unknown_module_is_refused_with_those_known() -> None:
    with pytest.raises(ValueError, match=r"^camera must be one of ov5647, imx219, .* or such as '.*', not 'imx999'$"):
        camera("imx999")


def test_any_other_camera_is_said_by_its_frames_and_pixels() -> None:
    found = camera(" 1280x800 at 120 fps of 3.0 um ")
    assert (found.name, found.pixel_um, found.lens) == ("1280x800 at 120 fps of 3.0 um", 3.0, None)
    assert found.modes == (Mode(1280, 800, 120.0, 1280),)
    assert found.pixel_of(found.modes[0]) == 3.0


@pytest.mark.parametrize(
    "text", ["0x800 at 120 fps of 3 um", "1280x800 at 0 fps of 3 um", "1280x800 at 9 fps of 0 um"]
)
def test_another_camera_without_pixels_or_frames_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="must be a number above 0 "):
        camera(text)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"name": ""}, "camera name must not be empty"),
        ({"pixel_um": 0.0}, "pixel_um must be a number above 0 um"),
        ({"modes": ()}, "modes must hold at least one mode"),
        ({"nearest_mm": -1.0}, "nearest_mm must be a number above 0 mm"),
    ],
)
def test_what_is_no_camera_is_refused(changed: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=f"^{told}"):
        replace(camera("imx219"), **changed)


def test_what_is_no_mode_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^mode fps must be a number above 0 per second, not 0$"):
        Mode(640, 480, 0, 1280)
    with pytest.raises(ValueError, match=r"^mode crop_px must be a number above 0 px, not -1$"):
        Mode(640, 480, 30.0, -1)


def test_a_mode_is_said_as_it_is_set() -> None:
    assert str(camera("imx219").modes[0]) == "640x480 at 206.65 per second"


def test_a_camera_of_ones_own_can_be_focused() -> None:
    assert not camera("1280x800 at 120 fps of 3 um").is_fixed
