import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.stationfile import StationFile, parse_station, read_station
from swapbell_models.fault import Mistake
from swapbell_models.optics import Square

VIEW = "[view]\nmm_per_px = 0.17\n"
GATE = "[gate]\nline_px = [[10, 20], [110, 20]]\ninside_px = [60, 90]\n"
PLANE = "[view]\nplane_px = [[0,0],[9,0],[9,9],[0,9]]\nplane_mm = [[0,0],[5,0],[5,5],[0,5]]\n"


def test_a_square_view_and_its_gate_are_read() -> None:
    station = parse_station(VIEW + GATE, "s.toml")
    assert station.view == Square(0.17)
    assert (station.gate.start_px, station.gate.end_px) == ((10.0, 20.0), (110.0, 20.0))


def test_an_angled_view_is_read() -> None:
    assert parse_station(PLANE + GATE, "s.toml").view.to_mm(9.0, 9.0) == pytest.approx((5.0, 5.0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[view", "not valid TOML"),
        (GATE, "missing required field `view`"),
        (VIEW, "missing required field `gate`"),
        (VIEW + GATE + "[lens]\n", "unknown key lens; did you mean"),
        (VIEW + "colour = 1\n" + GATE, "unknown key view.colour; did you mean view."),
        (VIEW + GATE + "width = 1\n", "unknown key gate.width"),
        ("[view]\n" + GATE, "either mm_per_px"),
        (PLANE + "mm_per_px = 0.1\n" + GATE, "either mm_per_px"),
        ("[view]\nplane_px = [[0,0],[9,0],[9,9],[0,9]]\n" + GATE, "together with plane_mm"),
        ("[view]\nmm_per_px = -0.1\n" + GATE, "positive number"),
        ("[view]\nmm_per_px = nan\n" + GATE, "positive number"),
        ("[view]\nmm_per_px = 1e300\n" + GATE, "from 0.001 to 100, not 1e"),
        (f"[view]\nmm_per_px = 1{'0' * 400}\n" + GATE, "at `view.mm_per_px`"),
        (f"[view]\nmm_per_px = 1{'0' * 5000}\n" + GATE, "not valid TOML"),
        ("[view]\nmm_per_px = 'a'\n" + GATE, "at `view.mm_per_px`"),
        ("[view]\nmm_per_px = true\n" + GATE, "at `view.mm_per_px`"),
        (VIEW + "[gate]\nline_px = [[10, 20], [10, 20]]\ninside_px = [60, 90]\n", "shorter than"),
        (VIEW + "[gate]\nline_px = [[10, 20]]\ninside_px = [60, 90]\n", "length 2, got 1"),
        (VIEW + "[gate]\nline_px = [[10, 20], [110]]\ninside_px = [60, 90]\n", "length 2, got 1"),
        (VIEW + "[gate]\nline_px = 7\ninside_px = [60, 90]\n", "at `gate.line_px`"),
        (VIEW + "[gate]\nline_px = [[10, 20], [110, 20]]\n", "missing required field `inside_px` - at `gate`"),
        (VIEW + "[gate]\nline_px = [[10, 20], [110, 20]]\ninside_px = [60, 20]\n", "lies on the gate line"),
        (VIEW + "[gate]\nline_px = [[10, inf], [110, 20]]\ninside_px = [60, 90]\n", "finite number"),
        ("view = 1\n" + GATE, "at `view`"),
    ],
)
def test_what_no_station_can_have_is_refused_in_one_line(text: str, says: str) -> None:
    with pytest.raises(Mistake, match=says) as refused:
        parse_station(text, "s.toml")
    assert "s.toml" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_gate_outside_the_image_is_refused() -> None:
    with pytest.raises(Mistake, match=r"^station file s\.toml: .* outside the image of 100 x 80"):
        parse_station(VIEW + GATE, "s.toml").check_size((100, 80))


def test_a_gate_on_the_rim_of_the_image_is_fine() -> None:
    parse_station(VIEW + GATE, "s.toml").check_size((110, 20))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"gone\.toml"):
        read_station(tmp_path / "gone.toml")


def test_a_picture_is_no_station_file(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(Mistake, match="not a text file"):
        read_station(tmp_path / "s.toml")


number = st.floats() | st.floats(-1e6, 1e6) | st.floats(-1000.0, 1000.0)
point = st.tuples(number, number).map(list)


@given(
    view=number | st.lists(st.tuples(point, point), min_size=3, max_size=6), line=st.tuples(point, point), at=point
)
def test_any_floats_give_a_station_or_a_mistake(
    view: float | list[tuple[list[float], list[float]]], line: tuple[list[float], list[float]], at: list[float]
) -> None:
    seen = f"mm_per_px = {view}"
    if isinstance(view, list):
        seen = f"plane_px = {[px for px, _ in view]}\nplane_mm = {[mm for _, mm in view]}"
    text = f"[view]\n{seen}\n[gate]\nline_px = {list(line)}\ninside_px = {at}\n"
    told = station_or_reason(text)
    if isinstance(told, StationFile):
        ends_mm = [told.view.to_mm(*end) for end in (told.gate.start_px, told.gate.end_px)]
        assert math.dist(*ends_mm) >= 1.0
    else:
        assert "\n" not in told
        assert "not valid TOML" not in told


def station_or_reason(text: str) -> StationFile | str:
    try:
        return parse_station(text, "s.toml")
    except Mistake as refused:
        return str(refused)


def test_a_station_that_was_never_calibrated_is_told_what_writes_its_file(tmp_path: Path) -> None:
    with pytest.raises(Mistake, match=r"there is no such file; .* let swapbell-device calibrate write it"):
        read_station(tmp_path / "station.toml")
