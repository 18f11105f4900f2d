import math

import pytest

from swapbell_device.stationfile import parse_station
from swapbell_enclosure.layout import Layout
from swapbell_enclosure.limits import check
from swapbell_enclosure.parameters import Camera, Parameters
from swapbell_enclosure.sight import FILL_MAX
from swapbell_enclosure.stationsheet import station_toml, to_px

MODULES = ["imx219", "imx708", "imx708_wide"]


def layout(**camera: object) -> Layout:
    return Layout(Parameters(camera=Camera(**camera)))  # pyright: ignore[reportArgumentType]


@pytest.mark.parametrize("module", MODULES)
@pytest.mark.parametrize("tilt_deg", [0.0, 15.0])
def test_the_solved_view_keeps_every_limit_of_the_view(module: str, tilt_deg: float) -> None:
    made = layout(module=module, tilt_deg=tilt_deg)
    assert [margin for margin in made.sight.seen.margins if margin.ratio < 1.0] == []


@pytest.mark.parametrize("module", MODULES)
def test_the_zone_leaves_the_image_a_margin(module: str) -> None:
    along, _ = layout(module=module).sight.field_mm
    assert along * FILL_MAX >= 60.0


@pytest.mark.parametrize("module", MODULES)
def test_a_solved_view_is_within_what_check_allows(module: str) -> None:
    assert [each for each in check(Parameters(camera=Camera(module=module))) if not each.kept] == []


def test_the_scale_is_that_of_a_thin_lens() -> None:
    # 1/f = 1/s + 1/v: f = 3.04 mm, s = 152 mm, so v = 3.04 * 152 / 148.96 mm.
    made = layout(module="imx219", distance_mm=152.0)
    pixel_mm = made.module.sensor_mm[0] / 640
    assert made.sight.mm_per_px == pytest.approx(pixel_mm * 152.0 / (3.04 * 152.0 / 148.96))


def test_the_expected_station_file_is_one_that_the_counter_reads() -> None:
    made = layout()
    station = parse_station(station_toml(made), "expected")
    assert station.view.mm_per_px(320.0, 240.0) == pytest.approx(made.sight.mm_per_px, rel=1e-4)


def test_the_expected_gate_is_as_long_as_the_lane_is_wide() -> None:
    station = parse_station(station_toml(layout(tilt_deg=15.0)), "expected")
    ends = [station.view.to_mm(*end) for end in (station.gate.start_px, station.gate.end_px)]
    assert math.dist(*ends) == pytest.approx(24.0, abs=0.05)


def test_the_expected_inside_lies_inwards_of_the_gate() -> None:
    station = parse_station(station_toml(layout()), "expected")
    assert station.gate.inside_px[0] > station.gate.start_px[0]


@pytest.mark.parametrize("tilt_deg", [0.0, 10.0, 25.0])
def test_the_camera_aims_at_the_gate_whatever_its_tilt(tilt_deg: float) -> None:
    assert to_px(layout(tilt_deg=tilt_deg), (0.0, 0.0, 0.0)) == pytest.approx((320.0, 240.0))
