from pathlib import Path

import pytest

from swapbell_enclosure.hardware import CAMERAS
from swapbell_enclosure.parameters import Parameters, default_toml, parse_parameters, read_parameters
from swapbell_models.fault import Mistake


def test_an_empty_file_is_the_default_design() -> None:
    assert parse_parameters("", "lane.toml") == Parameters()


def test_the_printed_defaults_are_the_defaults() -> None:
    assert parse_parameters(default_toml(), "lane.toml") == Parameters()


def test_a_misspelt_key_is_answered_with_the_nearest() -> None:
    with pytest.raises(Mistake, match=r"lane\.widht_mm; did you mean lane\.width_mm"):
        parse_parameters("[lane]\nwidht_mm = 24", "lane.toml")


def test_an_unknown_camera_is_answered_with_the_known_ones() -> None:
    with pytest.raises(Mistake, match="imx219, imx708"):
        parse_parameters('[camera]\nmodule = "imx999"', "lane.toml")


def test_an_unknown_kind_of_station_is_answered_with_the_known_ones() -> None:
    with pytest.raises(Mistake, match="pot, tub, tins"):
        parse_parameters('[station]\nkind = "jar"', "lane.toml")


def test_a_length_that_is_no_number_is_refused() -> None:
    with pytest.raises(Mistake, match=r"lane\.width_mm"):
        parse_parameters('[lane]\nwidth_mm = "wide"', "lane.toml")


@pytest.mark.parametrize("length", ["nan", "inf", "-1.0", "0.0", "1e9"])
def test_a_length_that_nothing_has_is_refused(length: str) -> None:
    with pytest.raises(Mistake, match=r"lane\.width_mm"):
        parse_parameters(f"[lane]\nwidth_mm = {length}", "lane.toml")


def test_a_measured_camera_takes_the_place_of_the_table() -> None:
    given = parse_parameters('[camera]\nmodule = "imx219"\npupil_mm = 5.5', "lane.toml").camera.resolved()
    assert (given.pupil_mm, given.focal_mm) == (5.5, CAMERAS["imx219"].focal_mm)


def test_a_measured_board_takes_the_place_of_the_table() -> None:
    assert parse_parameters("[board]\nholes_mm = [57.5, 22.5]", "lane.toml").board.resolved().holes_mm == (57.5, 22.5)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"lane\.toml"):
        read_parameters(tmp_path / "lane.toml")


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "lane.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Mistake, match="not a text file"):
        read_parameters(tmp_path / "lane.toml")


# Raspberry Pi documentation, "Hardware specifications": image area of the three modules [mm].
@pytest.mark.parametrize(
    ("name", "area_mm"), [("imx219", (3.68, 2.76)), ("imx708", (6.45, 3.63)), ("imx708_wide", (6.45, 3.63))]
)
def test_a_module_reads_all_of_its_published_image_area(name: str, area_mm: tuple[float, float]) -> None:
    assert CAMERAS[name].sensor_mm == pytest.approx(area_mm, abs=0.01)
