"""Calibration on drawn views of the printed card: right within a hundredth and half a millimetre, or refused."""

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from board_views import BoardView
from drawn_counter import CONFIG
from typer.testing import CliRunner

from swapbell_device.calibrating.card import CARDS, Card, card
from swapbell_device.calibrating.command import Wish, calibrate_station
from swapbell_device.calibrating.finding import Flaw, Unusable, find
from swapbell_device.calibrating.fitting import Calibration, Marked, calibrate
from swapbell_device.calibrating.paper import Paper, write_cards
from swapbell_device.calibrating.sheet import station_toml
from swapbell_device.main import app
from swapbell_device.stationfile import parse_station, read_station
from swapbell_models.fault import Mistake

# What each card is for: five scales, from filling the picture to nearly too small in it.
SCALES = {
    "lane": (0.09, 0.13, 0.16, 0.19, 0.22),
    "opening": (0.20, 0.25, 0.30, 0.35, 0.42),
    "wide": (0.32, 0.42, 0.52, 0.62, 0.72),
}
VIEWS = [
    BoardView(
        card(name), scale, tilt_deg=tilt, way_deg=70.0 * n, turn_deg=50.0 * n, blur_px=blur, uneven=0.5, noise=4.0
    )
    for name, scales in SCALES.items()
    for n, scale in enumerate(scales)
    for tilt, blur in ((0.0, 1.0), (15.0, 0.4), (30.0, 1.0), (45.0, 0.4))
]


def made(view: BoardView) -> Calibration:
    seen = find(view.picture())
    length, across = view.card.size_mm
    gate_mm = ((length / 2, 0.0), (length / 2, across))
    return calibrate(Marked(seen.corners_px, seen.corners_mm, gate_mm, (length, across / 2)), view.size)


def flaw(view: BoardView) -> Flaw:
    with pytest.raises(Unusable) as refusal:
        made(view)
    return refusal.value.flaw


def gate_error_mm(view: BoardView, found: Calibration) -> float:
    length, across = view.card.size_mm
    true = view.seen((length / 2, 0.0), (length / 2, across))
    ends = (found.gate.start_px, found.gate.end_px)
    return max(math.dist(end, there) for end, there in zip(ends, true, strict=True)) * found.mm_per_px


@pytest.mark.parametrize("view", VIEWS, ids=lambda v: f"{v.card.name}-{v.mm_per_px}-{v.tilt_deg:.0f}-{v.blur_px}")
def test_scale_and_gate_are_right_at_every_scale_tilt_and_blur(view: BoardView) -> None:
    found = made(view)
    assert found.mm_per_px == pytest.approx(view.true_scale(*found.middle_px), rel=0.01)
    assert gate_error_mm(view, found) <= 0.5


@pytest.mark.parametrize("at", [(20.0, 20.0), (45.0, 40.0), (80.0, 10.0)])
def test_a_partly_covered_card_is_still_right(at: tuple[float, float]) -> None:
    view = BoardView(card("opening"), 0.25, tilt_deg=20.0, cover_mm=(*at, 22.0))
    found = made(view)
    assert found.mm_per_px == pytest.approx(view.true_scale(*found.middle_px), rel=0.01)
    assert gate_error_mm(view, found) <= 0.5


def test_a_card_that_is_mostly_covered_is_refused_as_covered() -> None:
    assert flaw(BoardView(card("opening"), 0.25, cover_mm=(60.0, 32.0, 68.0))) is Flaw.COVERED


def test_a_card_half_out_of_the_picture_is_refused_as_covered() -> None:
    assert flaw(BoardView(card("wide"), 0.12)) is Flaw.COVERED


def test_a_small_card_is_refused_as_small() -> None:
    assert flaw(BoardView(card("lane"), 0.40)) is Flaw.SMALL


def test_a_blurred_card_is_refused_as_blurred() -> None:
    assert flaw(BoardView(card("opening"), 0.30, blur_px=3.2)) is Flaw.BLUR


def test_a_camera_that_looks_too_flat_is_refused_for_its_tilt() -> None:
    assert flaw(BoardView(card("wide"), 0.40, tilt_deg=57.0)) is Flaw.TILT


def test_a_bent_card_is_refused_as_bent() -> None:
    assert flaw(BoardView(card("opening"), 0.25, bend_mm=6.0)) is Flaw.BENT


def test_a_board_without_a_card_is_refused_for_want_of_one() -> None:
    with pytest.raises(Unusable, match="no card"):
        find(np.random.default_rng(1).integers(0, 255, (480, 640)).astype(np.uint8))


@pytest.mark.parametrize("card_", CARDS, ids=lambda each: each.name)
@pytest.mark.parametrize("way", [0, 1], ids=["top to bottom", "left to right"])
def test_a_card_seen_in_a_mirror_is_refused_as_mirrored(card_: Card, way: int) -> None:
    picture = BoardView(card_, SCALES[card_.name][1], tilt_deg=15.0).picture()
    with pytest.raises(Unusable, match="mirrored"):
        find(np.asarray(cv2.flip(picture, way), np.uint8))


def test_a_card_of_which_a_mirror_shows_a_few_others_markers_is_not_called_mirrored() -> None:
    """Two of the lane card's markers look like others of it in a mirror."""
    assert flaw(BoardView(card("lane"), 0.13, tilt_deg=15.0, cover_mm=(10.0, 8.0, 14.0))) is Flaw.COVERED


def test_two_cards_are_refused() -> None:
    beside = np.hstack([BoardView(CARDS[0], 0.15).picture(), BoardView(CARDS[1], 0.25).picture()])
    with pytest.raises(Unusable, match="two cards"):
        find(beside)


def test_an_opencv_too_old_for_the_cards_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(cv2.aruco, "ArucoDetector")
    with pytest.raises(Mistake, match=r"too old to know the cards; take 4\.7 or newer"):
        _ = replace(card("lane")).board


def test_a_square_camera_gets_a_scale_and_a_leaning_one_a_plane() -> None:
    assert made(BoardView(card("opening"), 0.25)).plane == ()
    leaning = made(BoardView(card("opening"), 0.25, tilt_deg=25.0))
    assert len(leaning.plane) == 4
    assert leaning.tilt_deg == pytest.approx(25.0, abs=1.5)


def test_the_stated_error_holds_what_is_really_off() -> None:
    views = [BoardView(card("opening"), 0.35, tilt_deg=20.0, noise=6.0, blur_px=1.0, seed=seed) for seed in range(12)]
    within = [gate_error_mm(view, found) <= (found.gate_error_mm or 0.0) for view in views for found in [made(view)]]
    assert sum(within) >= 9


@pytest.mark.parametrize("tilt_deg", [0.0, 30.0])
def test_the_station_file_says_what_was_found(tilt_deg: float) -> None:
    found = made(BoardView(card("opening"), 0.25, tilt_deg=tilt_deg))
    read = parse_station(station_toml(found), "written")
    assert read.view.mm_per_px(*found.middle_px) == pytest.approx(found.mm_per_px, rel=1e-3)
    assert read.gate.start_px == pytest.approx(found.gate.start_px, abs=0.001)


def test_the_arrow_of_the_card_points_inside() -> None:
    view = BoardView(card("opening"), 0.25, turn_deg=100.0)
    assert made(view).gate.inside_px == pytest.approx(view.seen((91.0, 32.5))[0], abs=1.0)


def written(tmp_path: Path, view: BoardView) -> Path:
    path = tmp_path / "board.png"
    cv2.imwrite(str(path), view.picture())
    return path


def test_a_printer_that_shrinks_is_made_up_for_by_the_rulers_length(tmp_path: Path) -> None:
    picture = written(tmp_path, BoardView(card("opening"), 0.25))
    wish = Wish(picture, tmp_path / "station.toml", tmp_path / "drawn.png", ruler_mm=98.0)
    calibrate_station(wish)
    assert read_station(tmp_path / "station.toml").view.mm_per_px(320.0, 240.0) == pytest.approx(
        0.25 * 0.98, rel=0.005
    )


def test_the_gate_is_as_wide_as_said(tmp_path: Path) -> None:
    picture = written(tmp_path, BoardView(card("lane"), 0.13))
    wish = Wish(picture, tmp_path / "station.toml", tmp_path / "drawn.png", gate_width_mm=24.0)
    assert "gate: 24.0 mm long" in " ".join(calibrate_station(wish))
    assert (tmp_path / "drawn.png").stat().st_size > 1000


@pytest.mark.parametrize(("blur_px", "said"), [(0.6, "focus: sharp: an edge is "), (3.0, "look: a little out of")])
def test_it_says_how_well_the_camera_is_focused(tmp_path: Path, blur_px: float, said: str) -> None:
    picture = written(tmp_path, BoardView(card("wide"), 0.42, blur_px=blur_px))
    told = calibrate_station(Wish(picture, tmp_path / "station.toml", tmp_path / "drawn.png"))
    assert any(line.startswith(said) for line in told)


def test_a_gate_that_reaches_out_of_the_picture_is_refused_and_nothing_written(tmp_path: Path) -> None:
    picture = written(tmp_path, BoardView(card("lane"), 0.13))
    with pytest.raises(Mistake, match=r"--gate-width: its end at .* lies outside the picture"):
        calibrate_station(Wish(picture, tmp_path / "station.toml", tmp_path / "drawn.png", gate_width_mm=200.0))
    assert not (tmp_path / "station.toml").exists()


def test_a_ruler_gives_the_scale_without_a_card(tmp_path: Path) -> None:
    picture = written(tmp_path, BoardView(card("lane"), 0.13))
    wish = Wish(
        picture,
        tmp_path / "station.toml",
        tmp_path / "drawn.png",
        length="100,60 500,60 is 70",
        gate="320,60 320,420",
        inside="500,240",
    )
    calibrate_station(wish)
    assert read_station(tmp_path / "station.toml").view.mm_per_px(0.0, 0.0) == pytest.approx(0.175)


def test_four_corners_of_a_rectangle_give_an_angled_view(tmp_path: Path) -> None:
    picture = written(tmp_path, BoardView(card("lane"), 0.13))
    corners = "100,60 500,80 520,400 90,380"
    wish = Wish(
        picture,
        tmp_path / "station.toml",
        tmp_path / "drawn.png",
        rectangle=f"{corners} is 70x50",
        gate="320,100 320,360",
        inside="450,240",
    )
    calibrate_station(wish)
    assert read_station(tmp_path / "station.toml").view.to_mm(520.0, 400.0) == pytest.approx((70.0, 50.0), abs=1e-3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--length", "a", "--gate", "1,1 2,2", "--inside", "3,3"], "--length: say points, 'is', and millimetres"),
        (["--length", "1,1 2,2 is x", "--gate", "1,1 2,2", "--inside", "3,3"], "--length: millimetres must be"),
        (["--length", "1,1 1,1 is 5", "--gate", "1,1 2,2", "--inside", "3,3"], "two ends are one point"),
        (["--length", "1,1 2,2 is 5"], "together with --gate and --inside"),
        (["--gate", "1,1 2,2"], "without a card"),
        (["--ruler", "10"], "--ruler: 10 mm is too far from 100"),
        (["--gate-width", "0"], "--gate-width: must be from 1 to 1000 mm"),
        (["--length", "1,1 2,2 is 5", "--rectangle", "1,1"], "not both"),
        (["--length", "1,1 2,2 is 5", "--gate", "1,1", "--inside", "3,3"], "--gate: give 2 as x,y in pixels"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(tmp_path: Path, arguments: list[str], said: str) -> None:
    picture = written(tmp_path, BoardView(card("lane"), 0.13))
    result = CliRunner().invoke(app, ["calibrate", str(picture), "--out", str(tmp_path / "s.toml"), *arguments])
    assert isinstance(result.exception, Mistake)
    assert said in str(result.exception)
    assert "\n" not in str(result.exception)


def test_a_camera_that_gives_no_picture_is_told_and_nothing_written(tmp_path: Path) -> None:
    path = tmp_path / "device.toml"
    camera = 'kind = "usb"\ndevice = "/dev/video99"'
    path.write_text(
        'station_file = "north.toml"\n'
        + CONFIG.format(port=9, pace=0)
        .replace("starts_at = 2026-02-03T12:00:00Z\n", "")
        .replace('kind = "drawn"\npace = 0', camera)
    )
    with pytest.raises(Mistake, match="camera: /dev/video99 cannot be opened"):
        calibrate_station(Wish(None, None, tmp_path / "drawn.png", config=path))
    assert sorted(each.name for each in tmp_path.iterdir()) == ["device.toml"]


@pytest.mark.parametrize("paper", list(Paper))
def test_the_cards_come_on_one_page_as_the_same_bytes_each_time(tmp_path: Path, paper: Paper) -> None:
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    write_cards(first, paper)
    write_cards(second, paper)
    assert first.read_bytes() == second.read_bytes()
    assert first.read_bytes().count(b"/Type /Page\n") <= 1


def test_the_picture_itself_is_never_written_over(tmp_path: Path) -> None:
    picture, out = tmp_path / "board.png", tmp_path / "station.toml"
    picture.write_bytes(b"as it was taken")
    for wish in (Wish(picture, picture, tmp_path / "drawn.png"), Wish(picture, out, picture)):
        with pytest.raises(Mistake, match="that is the picture to calibrate on"):
            calibrate_station(wish)
    assert picture.read_bytes() == b"as it was taken"


@pytest.mark.parametrize(("bend", "expected"), [(0.0, None), (0.03, None), (0.25, Flaw.LENS)])
def test_a_lens_that_bends_lines_is_in_the_stated_error_or_refused(bend: float, expected: Flaw | None) -> None:
    view = BoardView(card("opening"), 0.25, tilt_deg=10.0)
    straight = find(view.picture())
    middle = np.array(view.size) / 2.0
    out = straight.corners_px - middle
    # The picture's corners would move by this share (Brown 1966, one radial term).
    bent = middle + out * (1.0 - bend * (out**2).sum(axis=1, keepdims=True) / (middle**2).sum())
    length, across = view.card.size_mm
    marked = Marked(bent, straight.corners_mm, ((length / 2, 0.0), (length / 2, across)), (length, across / 2))
    if expected is None:
        found = calibrate(marked, view.size)
        assert found.scale_error is not None
        assert (found.scale_error > 0.002) == (bend > 0.0)
    else:
        with pytest.raises(Unusable) as refusal:
            calibrate(marked, view.size)
        assert refusal.value.flaw is expected
